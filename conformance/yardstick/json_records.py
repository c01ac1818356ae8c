# 300 records written as JSON and read back, while the first ones are kept.
import json


def make_record(i):
    return {
        "id": i,
        "site": "gauge-" + str(i % 7),
        "level_mm": 1200 + (i * 37) % 500,
        "volts": 12 + (i % 8) / 8,
        "flags": [i % 2 == 0, i % 3 == 0],
        "at": {"hour": i % 24, "minute": (i * 7) % 60},
    }


def main():
    records = []
    for i in range(300):
        records.append(make_record(i))
    text = json.dumps(records, separators=(",", ":"))
    again = json.loads(text)
    levels = 0
    minutes = 0
    for record in again:
        levels += record["level_mm"]
        minutes += record["at"]["hour"] * 60 + record["at"]["minute"]
    print(len(records), len(again), levels, minutes)


main()
