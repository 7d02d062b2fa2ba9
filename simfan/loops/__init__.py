"""What the loop does about a steady point: linear plant, frequency response, margins."""
