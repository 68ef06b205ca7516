"""Drives a notebook server of the classic kind over its REST and websocket
interface, as its page does: start, run, interrupt, restart, delete a kernel.

Arguments: address, token. Prints one JSON object.
"""
import asyncio
import json
import sys
import os
import uuid

import zmq
from jupyter_client.session import Session

from tornado.httpclient import AsyncHTTPClient
from tornado.websocket import websocket_connect

base, token = sys.argv[1], sys.argv[2]


async def call(method, path, body=None):
    reply = await AsyncHTTPClient().fetch(
        base + path, method=method, body=json.dumps(body) if body is not None else None,
        headers={"Authorization": "token " + token}, allow_nonstandard_methods=True, request_timeout=60)
    return json.loads(reply.body) if reply.body else None


async def run(ws, code, after=None):
    """Runs a cell; returns its printed text and the reply's status."""
    msg_id = uuid.uuid4().hex
    await ws.write_message(json.dumps({
        "header": {"msg_id": msg_id, "msg_type": "execute_request", "username": "", "session": "s", "version": "5.3"},
        "parent_header": {}, "metadata": {}, "channel": "shell", "buffers": [],
        "content": {"code": code, "silent": False, "store_history": True, "user_expressions": {},
                    "allow_stdin": True, "stop_on_error": True}}))
    text, status, idle = "", None, False
    if after:
        await after()
    while status is None or not idle:
        m = json.loads(await asyncio.wait_for(ws.read_message(), 60))
        if m["parent_header"].get("msg_id") != msg_id:
            continue
        if m["msg_type"] == "stream":
            text += m["content"]["text"]
        if m["msg_type"] == "execute_reply":
            status = m["content"]["status"]
        if m["msg_type"] == "status" and m["content"]["execution_state"] == "idle":
            idle = True
    return text, status


async def heard(ws):
    """Asks a new kernel who it is until it is heard on iopub: what a kernel publishes
    before the server's socket has found it again is lost."""
    asked = set()
    while True:
        msg_id = uuid.uuid4().hex
        asked.add(msg_id)
        await ws.write_message(json.dumps({
            "header": {"msg_id": msg_id, "msg_type": "kernel_info_request", "username": "", "session": "s", "version": "5.3"},
            "parent_header": {}, "metadata": {}, "channel": "shell", "buffers": [], "content": {}}))
        until = asyncio.get_running_loop().time() + 2
        while (left := until - asyncio.get_running_loop().time()) > 0:
            try:
                m = json.loads(await asyncio.wait_for(asyncio.shield(next_message(ws)), left))
            except asyncio.TimeoutError:
                break
            pending.clear()
            if m["channel"] == "iopub" and m["parent_header"].get("msg_id") in asked:
                return


pending = []


def next_message(ws):
    """The message that is being waited for: a wait given up loses none."""
    if not pending:
        pending.append(asyncio.ensure_future(read(ws)))
    return pending[0]


async def read(ws):
    return await ws.read_message()


def forge(kernel_id):
    """Sends a message that is not signed with the kernel's key to its port, as
    any user of the machine can."""
    with open(os.path.join(os.environ["JUPYTER_RUNTIME_DIR"], "kernel-" + kernel_id + ".json")) as f:
        info = json.load(f)
    s = zmq.Context.instance().socket(zmq.DEALER)
    s.connect("tcp://%s:%d" % (info["ip"], info["shell_port"]))
    Session(key=b"another").send(s, "kernel_info_request")
    s.close(linger=5000)


async def main():
    out = {"specs": sorted((await call("GET", "/api/kernelspecs"))["kernelspecs"])}
    kernel = await call("POST", "/api/kernels", {"name": "gravlab"})
    channels = base.replace("http", "ws") + "/api/kernels/" + kernel["id"] + "/channels?token=" + token
    ws = await websocket_connect(channels)
    out["first"] = await run(ws, "%%\nfmt.Println(6*7)")

    async def interrupt():
        # While the cell is compiled: a kernel that only hears it later hangs.
        await asyncio.sleep(0.05)
        await call("POST", "/api/kernels/" + kernel["id"] + "/interrupt", {})
    out["interrupted"] = await run(ws, "%%\nfor {}", interrupt)
    out["after"] = await run(ws, "%%\nfmt.Println(\"still here\")")
    await run(ws, "const kept = 1")
    await call("POST", "/api/kernels/" + kernel["id"] + "/restart", {})
    await heard(ws)
    out["restarted"] = await run(ws, "%%\nfmt.Println(kept)")
    forge(kernel["id"])
    out["states"] = []
    while "restarting" not in out["states"]:
        m = json.loads(await asyncio.wait_for(ws.read_message(), 60))
        if m["msg_type"] == "status":
            out["states"].append(m["content"]["execution_state"])
    out["forged"] = await run(ws, "%%\nfmt.Println(\"here again\")")
    await call("DELETE", "/api/kernels/" + kernel["id"])
    out["left"] = await call("GET", "/api/kernels")
    print(json.dumps(out))


asyncio.run(main())
