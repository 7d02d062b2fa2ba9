"""Plant numbers estimated from a recorded trend, with what the trend can and cannot tell."""
