"""Serve the pages on invented values, to look at them: python tests/unit/web/serve_fake.py [port]."""

import sys
from pathlib import Path

import uvicorn

sys.path.insert(0, str(Path(__file__).parents[3]))
from hangtab.web.app import create_app
from tests.unit.web.fake_desk import FakeDesk

if __name__ == "__main__":
    uvicorn.run(create_app(FakeDesk()), port=int(sys.argv[1]) if len(sys.argv) > 1 else 8765, log_level="warning")
