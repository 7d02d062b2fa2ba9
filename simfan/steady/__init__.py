"""Where the plant rests: operating points from the kernel's own equations."""
