"""Code that all rooms of the services share: scope, resources, revisions, audit log and caches."""
