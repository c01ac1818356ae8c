def loop(turns):
    total = 0
    i = 0
    while i < turns:
        total = (total + i) & 0xFFFF
        i += 1
    return total


print(loop(5000000))
