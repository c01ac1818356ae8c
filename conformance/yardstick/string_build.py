# A text of 5,000 short pieces, kept and joined, and the commas in it.
def main():
    pieces = []
    for i in range(5000):
        pieces.append("gauge-" + str(i % 7) + ":" + str(i) + ",")
    text = "".join(pieces)
    commas = 0
    for unit in text:
        if unit == ",":
            commas += 1
    print(len(text), commas)


main()
