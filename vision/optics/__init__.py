"""Heights, angles and indices in, what refraction and a meniscus make of them out."""
