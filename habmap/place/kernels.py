"""Machine code of the terrain's sums: made by numba once for a machine, kept, and loaded without numba ever after.

Loading numba and what it keeps by itself takes half a second of every run and of every worker; loading the bare
functions takes a twentieth of that. They are kept in the user's own cache folder, so an installation that nobody may
write to is none the slower; where no folder can be written, they are made anew in each run.

What numba compiles is taken as its text (`inspect_llvm`), everything but the one function that is called is cut off
(what turns Python's objects, what raises), and the rest must need nothing that the C library does not have; where it
does, numba's own function is called, and nothing is kept.
"""

from __future__ import annotations

import ctypes
import hashlib
import importlib.metadata
import os
import sys
import tempfile
import threading
from contextlib import suppress
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import llvmlite
import llvmlite.binding as llvm
import numpy as np

from habmap.land.fused import KINDS, Entry, FusedSums

#: The modules whose text decides what is compiled.
SOURCES: Final = ("compiled.py", "fused.py", "pieces.py", "coverage.py", "terrain.py", "facerules.py")
#: What machine code may call: parts of every C library, where a processor has no instruction of its own for it.
_C_FUNCTIONS: Final = frozenset({"memset", "memcpy", "memmove", "floor", "ceil", "sqrt", "fmin", "fmax"})
#: What would free an array of numba's own. None is ever made, and so it is never called; code that is cut off from
#: numba needs it to be there.
_NO_ARRAY_TO_FREE: Final = "define void @NRT_MemInfo_call_dtor(ptr %array) { ret void }"
_DIGEST_BYTES: Final = 32
_POINTERS: Final = {
    "d": np.dtype(np.float64),
    "f": np.dtype(np.float32),
    "q": np.dtype(np.int64),
    "?": np.dtype(np.bool_),
}
_LOCK: Final = threading.Lock()
#: Loaded code, which must stay where it is as long as it may be called.
_LOADED: Final[list[Any]] = []


def fused() -> FusedSums:
    """Return the sums by machine code, made now if they never were on this machine."""
    with _LOCK:
        return _fused()


@lru_cache(maxsize=1)
def _fused() -> FusedSums:
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    folder = cache_folder()
    entries: dict[str, Entry] = {}
    functions: dict[str, Any] = {}
    for name in KINDS:
        path = folder / f"{name}.bin"
        code = _kept(path)
        if code is None:
            functions = functions or _numba_functions()
            code = _machine_code(functions[name], name)
            if code is not None:
                _keep(path, code)
        if code is None:
            entries[name] = _caller(name, functions[name].address, is_bare=False)
        else:
            entries[name] = _caller(name, _loaded(name, code), is_bare=True)
    return FusedSums(entries, own=threading.local())


def cache_folder() -> Path:
    """Return the folder for machine code; another one whenever the text, the compiler or the processor is another."""
    digest = hashlib.sha256()
    for path in (Path(__file__), *(files("habmap.land").joinpath(name) for name in SOURCES)):
        digest.update(path.read_bytes())
    versions = [importlib.metadata.version("numba"), llvmlite.__version__]
    processor = (llvm.get_process_triple(), llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten())
    digest.update(repr((versions, processor)).encode())
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or "~/AppData/Local"
    elif sys.platform == "darwin":
        base = "~/Library/Caches"
    else:
        base = os.environ.get("XDG_CACHE_HOME") or "~/.cache"
    return Path(base).expanduser() / "habmap" / f"compiled-{digest.hexdigest()[:16]}"


# --- making -------------------------------------------------------------------------------------------------


def _numba_functions() -> dict[str, Any]:
    import numba

    from habmap.land.compiled import ENTRIES

    types: Any = numba.types
    of_kind = {
        "d": types.CPointer(types.float64),
        "f": types.CPointer(types.float32),
        "q": types.CPointer(types.int64),
        "?": types.CPointer(types.boolean),
        "n": types.int64,
    }
    return {
        name: numba.cfunc(types.void(*(of_kind[kind] for kind in KINDS[name])), error_model="numpy")(function)
        for name, function in ENTRIES.items()
    }


def _machine_code(function: Any, name: str) -> bytes | None:
    """Return the bare function as an object file; ``None`` where it cannot stand by itself."""
    try:
        module = llvm.parse_assembly(function.inspect_llvm())
        module.link_in(llvm.parse_assembly(_NO_ARRAY_TO_FREE))
        bare = module.get_function(function.native_name.removeprefix("cfunc."))
    except (RuntimeError, NameError):  # another version of the compiler writes its text otherwise
        return None
    # where its answer goes, where a fault would go, and what it is called with
    if len(list(bare.arguments)) != 2 + len(KINDS[name]):
        return None
    bare.name = name
    for one in (*module.functions, *module.global_variables):
        if not one.is_declaration and one.name != name:
            one.linkage = llvm.Linkage.internal
    machine = _target_machine()
    # All over again, now that nobody else can call the inner functions: what is called once is no call any more.
    builder = llvm.create_pass_builder(machine, llvm.create_pipeline_tuning_options(speed_level=3))
    builder.getModulePassManager().run(module, builder)
    wanted = {one.name for one in module.functions if one.is_declaration and not one.name.startswith("llvm.")}
    return None if wanted - _C_FUNCTIONS else bytes(machine.emit_object(module))


def _target_machine() -> Any:
    return llvm.Target.from_default_triple().create_target_machine(
        cpu=llvm.get_host_cpu_name(),
        features=llvm.get_host_cpu_features().flatten(),
        opt=3,
        reloc="default",
        codemodel="jitdefault",
        jit=True,
    )


# --- keeping ------------------------------------------------------------------------------------------------


def _kept(path: Path) -> bytes | None:
    try:
        data = path.read_bytes()
    except OSError:
        return None
    code = data[_DIGEST_BYTES:]
    return code if hashlib.sha256(code).digest() == data[:_DIGEST_BYTES] else None


def _keep(path: Path, code: bytes) -> None:
    with suppress(OSError):  # no folder for it: made anew next time
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(hashlib.sha256(code).digest() + code)
            Path(name).replace(path)
        finally:
            Path(name).unlink(missing_ok=True)


# --- calling ------------------------------------------------------------------------------------------------


def _loaded(name: str, code: bytes) -> int:
    """Load an object file into this process and return its function's address."""
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), _target_machine())
    engine.add_object_file(llvm.ObjectFileRef.from_data(code))
    engine.finalize_object()
    _LOADED.append(engine)
    return int(engine.get_function_address(name))


def _caller(name: str, address: int, *, is_bare: bool) -> Entry:
    """Return what calls a function with arrays and numbers; the interpreter's lock is let go meanwhile."""
    kinds = KINDS[name]
    words = [ctypes.c_int64 if kind == "n" else ctypes.c_void_p for kind in kinds]
    # the bare function has two places more for what it would answer or raise, and says whether it went well
    lead = (ctypes.c_void_p, ctypes.c_void_p) if is_bare else ()
    function = ctypes.CFUNCTYPE(ctypes.c_int32 if is_bare else None, *lead, *words)(address)

    def call(*given: Any) -> None:
        places = [ctypes.byref(ctypes.c_void_p()) for _ in lead]
        turned = [one if kind == "n" else _address(one, kind) for one, kind in zip(given, kinds, strict=True)]
        if function(*places, *turned):
            raise RuntimeError(f"{name}: the compiled sums failed")

    return call


def _address(array: Any, kind: str) -> int:
    if array.dtype != _POINTERS[kind] or not array.flags.c_contiguous:
        raise TypeError(f"an array of {_POINTERS[kind]} in order is wanted, not {array.dtype}, {array.strides}")
    return int(array.__array_interface__["data"][0])
