"""Readers for the tests of the child process; each does one thing wrong, but the first."""

from __future__ import annotations

import os
import time

import numpy as np

from kerfwright.errors import OutOfResourcesError, UnreadableError


def works(request):
    return {"got": request["text"]}, {"numbers": np.arange(request["count"], dtype=np.float64)}


def prints(request):
    print("KWFR0001 this must not get into the answer")
    os.write(1, b"nor this")
    return works(request)


def refuses(request):
    msg = f"{request['text']}: no good"
    raise UnreadableError(msg)


def runs_out(request):
    msg = f"{request['text']}: too much"
    raise OutOfResourcesError(msg)


def fails(request):
    return request["no such key"]


def recurses(request):
    return recurses(request)


def sleeps(request):
    time.sleep(600)


def loops(request):
    while True:
        pass


def eats(request):
    kept = []
    while True:
        kept.append(np.ones(1_000_000))


def aborts(request):
    os.abort()


def leaves(request):
    os._exit(0)
