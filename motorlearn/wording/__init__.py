"""A result in; sentences, captions and alt texts out."""
