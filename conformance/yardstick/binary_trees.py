# A binary tree of 4,095 nodes, built and counted.
class Node:
    def __init__(self, left, right):
        self.left = left
        self.right = right


def build(depth):
    if depth == 0:
        return Node(None, None)
    return Node(build(depth - 1), build(depth - 1))


def count(node):
    return 1 if node.left is None else 1 + count(node.left) + count(node.right)


def main():
    tree = build(11)
    print(count(tree))


main()
