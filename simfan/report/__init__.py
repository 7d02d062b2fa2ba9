"""What is told of a comparison: on a terminal, in pictures, in a folder."""
