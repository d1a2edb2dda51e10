"""The smallest FastAPI service: one route that says ok."""

from fastapi import FastAPI

app = FastAPI()


@app.get("/healthz")
async def healthz():
    """Say ok."""
    return {"status": "ok"}
