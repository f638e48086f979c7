"""What no service can beat: the same server, the same bytes, nothing worked out.

    python -m benchmarks.precomputed PORT FILE

FILE holds a JSON object from the body of a question to the answer.  The framework and the server are those of the
service, with one process.
"""

import json
import sys
from pathlib import Path

import uvicorn
from fastapi import FastAPI, Request, Response


def main() -> None:
    """Serve until ended."""
    port, file = sys.argv[1:]
    answers = {ask.encode(): answer.encode() for ask, answer in json.loads(Path(file).read_text()).items()}
    app = FastAPI()

    @app.post("/v1/knock-on")
    async def knock_on(request: Request) -> Response:
        return Response(answers[await request.body()], media_type="application/json")

    uvicorn.run(app, host="127.0.0.1", port=int(port), log_level="warning", server_header=False)


if __name__ == "__main__":
    main()
