//! Curves of dots finer than a cell.

/// Bits in the order of Unicode's Braille patterns: dots 1 2 3 7 down the left
/// side, 4 5 6 8 down the right (Unicode, chapter 21).
const BITS: [[u8; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];

/// Dots finer than cells: two by four a cell with Unicode, one by three with
/// plain characters.
pub(super) struct Canvas {
    columns: usize,
    rows: usize,
    unicode: bool,
    /// One set of bits a cell, row by row.
    cells: Vec<u8>,
}

impl Canvas {
    /// Empty, of these cells.
    pub(super) fn new(columns: usize, rows: usize, unicode: bool) -> Self {
        Self {
            columns,
            rows,
            unicode,
            cells: vec![0; columns * rows],
        }
    }

    fn per_row(&self) -> usize {
        if self.unicode { 4 } else { 3 }
    }

    /// Levels from the bottom to the top.
    pub(super) fn levels(&self) -> usize {
        self.rows * self.per_row()
    }

    /// Marks a dot; level 0 is at the bottom.
    pub(super) fn mark(&mut self, x: usize, level: usize) {
        let from_top = self.levels() - 1 - level.min(self.levels() - 1);
        let (row, line) = (from_top / self.per_row(), from_top % self.per_row());
        let (column, side) = if self.unicode { (x / 2, x % 2) } else { (x, 0) };
        if let Some(cell) = self.cells.get_mut(row * self.columns + column) {
            *cell |= BITS[side][line];
        }
    }

    /// Marks a dot and whatever lies between its level and the one before.
    pub(super) fn join(&mut self, x: usize, before: usize, level: usize) {
        let between = if before < level {
            before + 1..level
        } else {
            level + 1..before
        };
        for step in between {
            self.mark(x, step);
        }
        self.mark(x, level);
    }

    /// One text a row, from the top.
    pub(super) fn lines(&self) -> impl Iterator<Item = String> {
        let letter = |bits: &u8| match (*bits, self.unicode) {
            (0, _) => ' ',
            (bits, true) => char::from_u32(0x2800 + u32::from(bits)).unwrap_or(' '),
            (bits, false) if bits & 0x01 != 0 => '\'',
            (bits, false) if bits & 0x02 != 0 => '-',
            (_, false) => '.',
        };
        self.cells
            .chunks(self.columns)
            .map(move |row| row.iter().map(letter).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rising_line_rises() {
        for unicode in [true, false] {
            let mut canvas = Canvas::new(4, 2, unicode);
            let (left, right) = (0, if unicode { 7 } else { 3 });
            canvas.mark(left, 0);
            canvas.mark(right, canvas.levels() - 1);
            let lines: Vec<String> = canvas.lines().collect();
            assert!(
                lines[0].ends_with(if unicode { '⠈' } else { '\'' }),
                "{lines:?}"
            );
            assert!(
                lines[1].starts_with(if unicode { '⡀' } else { '.' }),
                "{lines:?}"
            );
        }
    }
}
