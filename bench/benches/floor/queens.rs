//! Ways to place n queens on an n by n board, by backtracking.
//!
//! It owns the board as three lists of marks, as the sample does: bit sets would
//! be another program.

use std::hint::black_box;

struct Board {
    columns: Vec<bool>,
    rising: Vec<bool>,
    falling: Vec<bool>,
}

/// The number of ways for n from 1 to 8.
pub(crate) fn run() -> String {
    let most: usize = black_box(8);
    (1..=most).map(|size| format!("{size} {}\n", count_from(&mut Board::new(size), 0))).collect()
}

impl Board {
    fn new(size: usize) -> Board {
        let diagonals = vec![false; 2 * size - 1];
        Board { columns: vec![false; size], rising: diagonals.clone(), falling: diagonals }
    }

    fn size(&self) -> usize {
        self.columns.len()
    }

    fn is_free(&self, row: usize, column: usize) -> bool {
        !self.columns[column]
            && !self.rising[row + column]
            && !self.falling[row + self.size() - 1 - column]
    }

    fn mark(&mut self, row: usize, column: usize, taken: bool) {
        let falling = row + self.size() - 1 - column;
        self.columns[column] = taken;
        self.rising[row + column] = taken;
        self.falling[falling] = taken;
    }
}

fn count_from(board: &mut Board, row: usize) -> u32 {
    if row == board.size() {
        return 1;
    }
    let mut ways = 0;
    for column in 0..board.size() {
        if board.is_free(row, column) {
            board.mark(row, column, true);
            ways += count_from(board, row + 1);
            board.mark(row, column, false);
        }
    }
    ways
}
