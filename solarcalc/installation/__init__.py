"""What is built, as one graph: parts, conductors between them, routes in which they lie."""
