"""Stands in for a network with one broker in it."""

wire = None


def getaddrinfo(host, port):
    return [(2, 1, 0, "", (host, port))]


def socket():
    return wire
