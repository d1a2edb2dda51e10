"""What people run: they speak HTTP, and import neither `api` nor `analysis`."""
