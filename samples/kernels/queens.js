// Ways to place n queens on an n by n board, for n from 1 to 8.
// Published answers: OEIS A000170 (n = 8: 92).
// Run: scruple run samples/kernels/queens.js
// Prints: queens.out

function makeBoard(size) {
  const board = { size: size, columns: [], rising: [], falling: [] };
  for (let i = 0; i < size; i++) {
    board.columns.push(false);
  }
  for (let i = 0; i < 2 * size - 1; i++) {
    board.rising.push(false);
    board.falling.push(false);
  }
  return board;
}

function isFree(board, row, column) {
  return !board.columns[column] &&
    !board.rising[row + column] &&
    !board.falling[row - column + board.size - 1];
}

function mark(board, row, column, taken) {
  board.columns[column] = taken;
  board.rising[row + column] = taken;
  board.falling[row - column + board.size - 1] = taken;
}

function countFrom(board, row) {
  if (row === board.size) {
    return 1;
  }
  let ways = 0;
  for (let column = 0; column < board.size; column++) {
    if (isFree(board, row, column)) {
      mark(board, row, column, true);
      ways += countFrom(board, row + 1);
      mark(board, row, column, false);
    }
  }
  return ways;
}

for (let size = 1; size <= 8; size++) {
  console.log(size, countFrom(makeBoard(size), 0));
}
