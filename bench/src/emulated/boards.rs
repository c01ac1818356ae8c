//! The boards that the emulator knows: the same table that the firmware's build
//! reads.

/// A board, a row of `board/boards.txt`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Board {
    /// The emulator's name for it.
    pub name: &'static str,
    /// Bytes of flash.
    pub flash: u64,
    /// Bytes of RAM.
    pub ram: u64,
    /// Bytes of RAM kept for the program's own stack.
    pub stack: u32,
    /// How deep built-ins and scripts may call one another in that stack.
    pub nesting: u16,
}

/// Every board. A line that is no row is left out, and a test counts them.
pub fn all() -> Vec<Board> {
    include_str!("../../board/boards.txt").lines().filter_map(read).collect()
}

/// The board of a name.
pub fn find(name: &str) -> Option<Board> {
    all().into_iter().find(|board| board.name == name)
}

fn read(line: &'static str) -> Option<Board> {
    let mut words = line.split_whitespace();
    let name = words.next().filter(|name| !name.starts_with('#'))?;
    let mut number = || words.next()?.parse::<u64>().ok();
    // Where the flash begins is hexadecimal, and the linker's business.
    let _ = number();
    let (flash, ram, _clock) = (number()?, number()?, number()?);
    let (stack, nesting) = (number()?, number()?);
    let (stack, nesting) = (u32::try_from(stack).ok()?, u16::try_from(nesting).ok()?);
    Some(Board { name, flash, ram, stack, nesting })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_is_a_board_whose_stack_leaves_room() {
        let lines = include_str!("../../board/boards.txt").lines();
        assert_eq!(all().len(), lines.filter(|line| !line.starts_with('#')).count());
        assert!(all().iter().all(|board| u64::from(board.stack) < board.ram));
        assert_eq!(find("stm32vldiscovery").map(|board| board.ram), Some(8192));
    }
}
