"""A browser without eyes: it keeps cookies, and sends forms with the token of the page it has seen."""

from __future__ import annotations

import html
import re
from typing import Any

from starlette.testclient import TestClient

TOKEN = re.compile(r'name="token" value="([^"]+)"')


class Visitor:
    """Loads pages and sends their forms."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.token = ""

    def get(self, path: str, **more: Any) -> Any:
        """Load a page, following where it leads."""
        answer = self.client.get(path, **more)
        found = TOKEN.search(answer.text) if answer.headers.get("content-type", "").startswith("text/html") else None
        if found:
            self.token = html.unescape(found[1])
        return answer

    def post(self, path: str, data: dict[str, Any] | None = None, **more: Any) -> Any:
        """Send a form; the answer is that of the form itself, 303 where it was taken."""
        if not self.token:
            self.get("/who")
        more.setdefault("follow_redirects", False)
        return self.client.post(path, data={"token": self.token, **(data or {})}, **more)

    def sign(self, name: str = "Mara") -> Visitor:
        """Say who is at this browser."""
        assert self.post("/who", {"name": name}).status_code == 303
        return self


def words(answer: Any) -> str:
    """What a page says, without its marks, in one line."""
    body = re.sub(r"<(script|style|svg)\b.*?</\1>", " ", answer.text, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())
