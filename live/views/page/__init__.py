"""The page: a view for the phone of the one who exercises, served by the watcher."""
