"""Asks a board as a browser does: with cookies, with the token of the page, following where it is sent."""

import re
import secrets
import time
from typing import Any

import httpx

PATIENCE = 30.0  # seconds, on a busy machine; nothing takes that long


class Asker(httpx.Client):
    """One browser."""

    def __init__(self, address: str) -> None:
        # Boards are asked in plain HTTP here: reading the certificates of the world takes longer than most tests.
        super().__init__(base_url=address, follow_redirects=True, timeout=PATIENCE, verify=False)

    def comes_in(self, key: str) -> httpx.Response:
        return self.get("/enter", params={"key": key})

    def signs_in(self, name: str, password: str) -> httpx.Response:
        return self.post("/enter", data={"name": name, "password": password})

    def token(self) -> str:
        found = re.search(r'name="relay-token" content="([0-9a-f]*)"', self.get("/").text)
        return found[1] if found else ""

    def job(self, name: str) -> dict[str, Any]:
        jobs = self.get("/api/jobs", params={"which": "all", "most": 500}).json()["jobs"]
        found: dict[str, Any] = next(job for job in jobs if job["job"] == name)
        return found

    def act(self, act: str, job: str, token: str | None = None, **more: Any) -> httpx.Response:
        """Say something about a job as the page would, having looked at it just now."""
        asked = {"act": act, "job": job, "op": secrets.token_hex(16), **more}
        if "seen" not in asked:
            asked["seen"] = self.job(job)["seen"]
        return self.post("/api/acts", json=asked, headers={"x-relay-token": self.token() if token is None else token})

    def sees(self, words: str, path: str = "/") -> str:
        """Return the page once it says `words`."""
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            text = self.get(path).text
            if words in text:
                return text
            time.sleep(0.1)
        raise AssertionError(f"{path} never said {words!r}:\n{text[-3000:]}")
