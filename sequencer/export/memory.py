"""A bound on the memory of a process that reads a stranger's file: one that swells ends its reader, and no more."""

_MOST_BYTES = 6 * 1024**3


def bound() -> None:
    """Set the bound on this process, where the system can; elsewhere the caller's time limit is what holds."""
    try:
        import resource
    except ImportError:
        return
    for what, most in ((resource.RLIMIT_AS, _MOST_BYTES), (resource.RLIMIT_CORE, 0)):
        _, hard = resource.getrlimit(what)
        resource.setrlimit(what, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))
