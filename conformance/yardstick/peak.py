# Runs a script and tells the most bytes it held, as tracemalloc sees them. The
# interpreter, its modules and the compiled script are there before counting.
import json
import sys
import tracemalloc

with open(sys.argv[1], encoding="utf-8") as file:
    code = compile(file.read(), sys.argv[1], "exec")
namespace = {"__name__": "__main__", "json": json}
tracemalloc.start()
exec(code, namespace)
print(tracemalloc.get_traced_memory()[1], file=sys.stderr)
