//! The highest readings of the indicator in equal pieces of a stretch, in
//! constant memory whatever its length.

/// Seconds a piece at first: the indicator has forgotten one by the next.
const PIECE_S: f64 = 1.0;
/// Pieces that are kept, a choice; when full, neighbours are merged two by two.
const MOST_PIECES: usize = 512;

/// See the module.
#[derive(Clone, Debug)]
pub struct HighestReadings {
    values_per_piece: u64,
    rate_hz: f64,
    all: f64,
    piece: f64,
    count: u64,
    pieces: Vec<f64>,
}

impl HighestReadings {
    /// Of `rate_hz` readings a second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            values_per_piece: ((PIECE_S * rate_hz) as u64).max(1),
            rate_hz,
            all: 0.0,
            piece: 0.0,
            count: 0,
            pieces: Vec::new(),
        }
    }

    /// Takes the next reading.
    #[inline]
    pub fn push(&mut self, reading: f64) {
        self.piece = self.piece.max(reading);
        self.count += 1;
        if self.count == self.values_per_piece {
            self.close_piece();
        }
    }

    fn close_piece(&mut self) {
        self.all = self.all.max(self.piece);
        self.pieces.push(self.piece);
        self.piece = 0.0;
        self.count = 0;
        if self.pieces.len() == MOST_PIECES {
            // The higher of two, not their mean: it stays a highest reading.
            for k in 0..MOST_PIECES / 2 {
                self.pieces[k] = self.pieces[2 * k].max(self.pieces[2 * k + 1]);
            }
            self.pieces.truncate(MOST_PIECES / 2);
            self.values_per_piece *= 2;
        }
    }

    /// The highest of all.
    pub fn of_all(&self) -> f64 {
        self.all.max(self.piece)
    }

    /// The highest of each whole piece.
    pub fn of_pieces(&self) -> &[f64] {
        &self.pieces
    }

    /// Length of a piece in seconds.
    pub fn piece_s(&self) -> f64 {
        self.values_per_piece as f64 / self.rate_hz
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn merged_pieces_hold_the_highest_reading_still() {
        let mut highest = HighestReadings::new(4.0);
        // The third of four readings in a second is the highest; the seconds
        // go up and down.
        let of_second = |second: u32| f64::from(second * 37 % 101);
        for second in 0..5000 {
            for reading in [0.0, 0.5, 1.0, 0.2] {
                highest.push(reading * of_second(second));
            }
        }
        assert!(highest.of_pieces().len() < MOST_PIECES);
        let seconds = highest.piece_s() as u32;
        assert_eq!(seconds, 16);
        for (piece, got) in (0u32..).zip(highest.of_pieces()) {
            let wanted = (piece * seconds..(piece + 1) * seconds)
                .map(of_second)
                .fold(0.0, f64::max);
            assert!((got - wanted).abs() < 1e-12, "piece {piece}: {got}");
        }
    }

    #[test]
    fn the_highest_of_all_may_stand_in_an_unfinished_piece() {
        let mut highest = HighestReadings::new(4.0);
        for reading in [1.0, 2.0, 1.0, 1.0, 7.0] {
            highest.push(reading);
        }
        assert_eq!(highest.of_pieces(), [2.0]);
        assert!((highest.of_all() - 7.0).abs() < 1e-12);
    }
}
