"""What views of every kind show alike: colours, shapes, the rules of the far view.  No Qt."""
