"""What the programs' answers share: the same as `common.js` for their drivers."""

state = 1


def seed(n):
    global state
    state = n


def next_below(below):
    global state
    state = (state * 75 + 74) % 65537
    return state % below


def numbers(n, below):
    return [next_below(below) for _ in range(n)]


def js(value):
    """A boolean as ECMAScript writes it."""
    return "true" if value else "false"
