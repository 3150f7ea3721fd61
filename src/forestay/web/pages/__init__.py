"""Pages: one router a kind of page. Each reads through a service and hands one view to one template."""
