"""Errors as RFC 9457 problem details."""


def problem_handler(exc, context):
    raise NotImplementedError
