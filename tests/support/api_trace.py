"""The stream `/trace` of a running mock, which has no end and so is none for schemathesis: read and refused here instead.

What is asked is made of the document: names that `/quantities` tells, periods within the schema's range, and what the
document does not allow. Every refusal must be one that the document has, as a problem; every event as the document says.
"""

import http.client
import json
import math
import random
import urllib.parse

# Events of a stream that are read before it is closed.
READ = 4


class Wrong(Exception):
    """The mock does not do as the document says."""


def need(true, what):
    if not true:
        raise Wrong(what)


class Api:
    def __init__(self, url):
        self.host = urllib.parse.urlsplit(url).netloc

    def open(self, path, method="GET", body=None):
        connection = http.client.HTTPConnection(self.host, timeout=20)
        connection.request(method, path, body and json.dumps(body), {"Content-Type": "application/json"} if body else {})
        return connection, connection.getresponse()

    def json(self, path, method="GET", body=None):
        connection, answer = self.open(path, method, body)
        try:
            return answer.status, json.loads(answer.read())
        finally:
            connection.close()


def events(answer):
    """Name and data of each event; comments are passed over."""
    name = None
    for line in answer:
        line = line.decode().rstrip("\n")
        if line.startswith("event: "):
            name = line[len("event: "):]
        elif line.startswith("data: "):
            yield name, json.loads(line[len("data: "):])
        else:
            need(line == "" or line.startswith(":"), f"a line that is none of an event: {line!r}")


def good(api, names, period):
    asked = urllib.parse.urlencode({"quantity": ",".join(names), **({} if period is None else {"period_s": period})})
    connection, answer = api.open(f"/trace?{asked}")
    try:
        need(answer.status == 200, f"{asked}: {answer.status} {answer.read()[:300] if answer.status != 200 else ''}")
        need(answer.headers.get_content_type() == "text/event-stream", f"{asked}: {answer.headers.get_content_type()}")
        stream = events(answer)
        name, told = next(stream)
        every = 1 if period is None else period
        need(name == "trace" and told["quantities"] == names, f"{asked}: first {name} {told}")
        need(math.isclose(told["period_s"], every, abs_tol=1e-9), f"{asked}: period {told['period_s']}")
        last = None
        # A sample of a long period is not waited for.
        for _ in range(READ if every <= 1 else 0):
            name, sample = next(stream)
            need(name == "sample" and len(sample["values"]) == len(names), f"{asked}: {name} {str(sample)[:200]}")
            at = sample["at_s"]
            need(abs(at / every - round(at / every)) * every < 1e-6, f"{asked}: {at} s is no multiple of the period")
            need(last is None or at > last, f"{asked}: {at} s after {last} s")
            last = at
    finally:
        connection.close()


def bad(api, query, operation):
    status, problem = api.json(f"/trace{query}")
    need(400 <= status < 500, f"/trace{query[:100]}: {status}")
    need(str(status) in operation["responses"], f"/trace{query[:100]}: {status} is not in the document")
    need(problem.get("status") == status and problem.get("next"), f"/trace{query[:100]}: {problem}")


def check(url, seed, rounds=60):
    """What is wrong with the stream; None if nothing."""
    api, dice = Api(url), random.Random(seed)
    try:
        operation = api.json("/openapi.json")[1]["paths"]["/trace"]["get"]
        parameters = {p["name"]: p for p in operation["parameters"]}
        need(set(parameters) == {"quantity", "period_s"}, f"parameters {sorted(parameters)}")
        low, high = (parameters["period_s"]["schema"][k] for k in ("minimum", "maximum"))
        need(api.json("/time/pause", "POST")[0] == 200, "time does not stand")
        need(api.json("/time/run", "POST", {"speed": 5})[0] == 200, "time does not run")
        names = [q["name"] for q in api.json("/quantities")[1]["quantities"]]
        for _ in range(rounds):
            some = dice.choices(names, k=dice.choice([1, 1, 2, 5, 64]))
            good(api, some, dice.choice([None, low, high, 0.01, 0.25, round(dice.uniform(low, 1), 3)]))
        one = urllib.parse.quote(names[0])
        for query in [
            "", "?quantity=", "?quantity=,,", "?quantity=nothing", f"?quantity={one},nothing", f"?quantity={one}&quantity={one}",
            "?quantity=" + ",".join([one] * 65), f"?quantity={one}&period_s=", f"?quantity={one}&period_s=0",
            f"?quantity={one}&period_s={low / 2}", f"?quantity={one}&period_s={high * 2}", f"?quantity={one}&period_s=-1",
            f"?quantity={one}&period_s=NaN", f"?quantity={one}&period_s=1e999", f"?quantity={one}&period_s=a",
            f"?quantity={one}&other=1", "?quantity=%ff", "?%",
        ]:
            bad(api, query, operation)
        for _ in range(rounds):
            text = "".join(chr(dice.choice([dice.randrange(33, 127), dice.randrange(0xA0, 0x2000)])) for _ in range(dice.randrange(1, 40)))
            bad(api, "?quantity=" + urllib.parse.quote(text, safe=",."), operation)
        # More than there is room for, and room again when they are gone.
        streams = [api.open(f"/trace?quantity={one}&period_s=3600") for _ in range(8)]
        need(all(a.status == 200 for _, a in streams), "eight streams at once")
        status, problem = api.json(f"/trace?quantity={one}")
        need(status == 503 and "503" in operation["responses"] and problem["next"], f"a ninth stream: {status}")
        for connection, answer in streams:
            answer.close()
            connection.close()
        need(any(api.open(f"/trace?quantity={one}")[1].status == 200 for _ in range(2000)), "no room again")
        need(api.json("/time/run", "POST", {"speed": 1})[0] == 200, "time does not run")
    except (Wrong, StopIteration, OSError, http.client.HTTPException, ValueError, KeyError) as wrong:
        return f"{type(wrong).__name__}: {wrong}"
    return None
