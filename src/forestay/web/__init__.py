"""The web face: server-rendered pages, the JSON interface of the calculations, and the live answers to a control."""
