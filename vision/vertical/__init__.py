"""Pixels in, what hangs or stands plumb and the direction of gravity out."""
