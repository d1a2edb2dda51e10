"""What every room of the services uses: scope, resources, revisions, audit log and caches."""
