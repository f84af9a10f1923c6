"""One module per thing a person asks for: joins the other rooms and returns a frozen result."""
