"""Many runs of one scenario, varied: the worst of them, what breaks first, and how sure that is."""
