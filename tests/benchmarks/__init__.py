"""The questions about scale and speed, each beside well-kept engines that can answer it too (`make bench`)."""
