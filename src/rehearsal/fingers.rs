//! The fingers on the screwdriver: keys say how far to turn, fingers get there
//! as a hand does, without a jump.

/// How fast a turn begins and ends, seconds. Invented.
const SWIFTNESS_S: f64 = 0.06;
/// No hand turns faster than this share of the travel in a second. Invented.
const FASTEST_PER_S: f64 = 0.4;
/// As near as this the fingers rest.
const THERE: f64 = 1e-6;
/// The motion is worked out in steps no longer than this, seconds.
const STEP_S: f64 = 0.001;

/// Where the fingers hold the trimmer, in shares of its travel, and where they
/// are turning it.
#[derive(Clone, Copy, Debug)]
pub struct Fingers {
    position: f64,
    pace_per_s: f64,
    aim: f64,
}

impl Fingers {
    /// At rest.
    pub fn at(position: f64) -> Self {
        let position = position.clamp(0.0, 1.0);
        Self {
            position,
            pace_per_s: 0.0,
            aim: position,
        }
    }

    /// Further by a share of the travel than asked for so far; no further than
    /// the stops.
    pub fn turn(&mut self, by: f64) {
        self.aim = (self.aim + by).clamp(0.0, 1.0);
    }

    /// Where they hold the trimmer.
    pub fn position(&self) -> f64 {
        self.position
    }

    /// Whether they have got where they were asked to go.
    pub fn are_at_rest(&self) -> bool {
        (self.aim - self.position).abs() < THERE && self.pace_per_s.abs() * SWIFTNESS_S < THERE
    }

    /// Time goes by.
    pub fn advance(&mut self, seconds: f64) {
        let steps = (seconds / STEP_S).ceil().max(1.0);
        for _ in 0..steps as u64 {
            self.step(seconds / steps);
        }
    }

    /// A spring with critical damping pulls towards the aim.
    fn step(&mut self, seconds: f64) {
        let pull = (self.aim - self.position) / (SWIFTNESS_S * SWIFTNESS_S);
        let damping = 2.0 * self.pace_per_s / SWIFTNESS_S;
        self.pace_per_s += (pull - damping) * seconds;
        self.pace_per_s = self.pace_per_s.clamp(-FASTEST_PER_S, FASTEST_PER_S);
        self.position += self.pace_per_s * seconds;
        if self.are_at_rest() {
            *self = Self::at(self.aim);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn watched(fingers: &mut Fingers, seconds: f64) -> Vec<f64> {
        let blocks = (seconds / 0.01).round() as usize;
        let mut positions = vec![fingers.position()];
        for _ in 0..blocks {
            fingers.advance(0.01);
            positions.push(fingers.position());
        }
        positions
    }

    #[test]
    fn they_arrive_without_a_jump_and_without_going_past() {
        let mut fingers = Fingers::at(0.3);
        fingers.turn(0.02);
        let positions = watched(&mut fingers, 1.0);
        assert!(fingers.are_at_rest());
        assert!((fingers.position() - 0.32).abs() < 1e-12);
        for pair in positions.windows(2) {
            let moved = pair[1] - pair[0];
            assert!((0.0..=0.0041).contains(&moved), "{moved}");
        }
        assert!(positions.iter().all(|it| *it <= 0.32 + 1e-9));
        // A hand is there in less than half a second.
        assert!((positions[50] - 0.32).abs() < 0.0002, "{}", positions[50]);
    }

    #[test]
    fn every_key_counts_however_fast_they_come() {
        let mut fingers = Fingers::at(0.1);
        for _ in 0..20 {
            fingers.turn(0.02);
            fingers.advance(0.01);
        }
        watched(&mut fingers, 3.0);
        assert!((fingers.position() - 0.5).abs() < 1e-12);
    }

    #[test]
    fn the_stops_hold() {
        let mut fingers = Fingers::at(0.9);
        fingers.turn(0.5);
        let positions = watched(&mut fingers, 2.0);
        assert!(positions.iter().all(|it| *it <= 1.0 + 1e-9));
        // What was asked for beyond the stop is not owed on the way back.
        fingers.turn(-0.2);
        watched(&mut fingers, 2.0);
        assert!((fingers.position() - 0.8).abs() < 1e-12);
    }

    #[test]
    fn the_same_time_in_other_pieces_is_the_same_turn() {
        let (mut one, mut many) = (Fingers::at(0.5), Fingers::at(0.5));
        one.turn(0.1);
        many.turn(0.1);
        one.advance(0.2);
        for _ in 0..20 {
            many.advance(0.01);
        }
        assert!((one.position() - many.position()).abs() < 1e-9);
    }
}
