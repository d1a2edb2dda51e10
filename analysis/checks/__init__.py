"""The data checks: they find trials and sessions whose numbers look wrong."""
