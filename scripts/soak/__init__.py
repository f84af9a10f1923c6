"""The program under fire: `dev.py soak`. One module a kind of attack; each law is said once, in `law.py`."""
