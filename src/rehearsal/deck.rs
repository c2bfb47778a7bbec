//! A simulated machine with several speeds or directions: each has a trimmer
//! of its own, and turning one moves the others a little.

use super::machine::{MachineConfig, SimulatedMachine};
use super::trimmer::{Trimmer, TrimmerConfig, WiperConfig};
use crate::units::Percent;

/// What is turned at one trimmer moves the speed at the others by this share.
/// Invented.
const INFLUENCE: f64 = 0.2;

/// What one speed or direction has of its own.
#[derive(Clone, Debug, PartialEq)]
pub struct RunConfig {
    /// The tone that its test tape plays at right speed, Hz.
    pub tone_hz: f64,
    /// Its trimmer.
    pub trimmer: TrimmerConfig,
    /// The trimmer's dirt.
    pub wiper: WiperConfig,
}

/// The machine at the speed and direction that are switched on, with the
/// trimmers of the others.
#[derive(Clone, Debug)]
pub struct SimulatedDeck {
    /// The machine as it plays now.
    pub machine: SimulatedMachine,
    runs: Vec<Resting>,
    at: usize,
    /// What the other trimmers move this speed by, percent.
    influenced: f64,
}

/// A trimmer that is not in use; the machine has the one that is.
#[derive(Clone, Debug)]
struct Resting {
    tone_hz: f64,
    trimmer: Trimmer,
    /// Speed that it gave as the machine came in, percent.
    arrived: f64,
    strokes: u32,
}

impl SimulatedDeck {
    /// A machine whose first speed or direction is that of `config`; `others`
    /// follow in the order of their numbers, from 1.
    pub fn new(config: MachineConfig, others: &[RunConfig], seed: u64) -> Self {
        let first = RunConfig {
            tone_hz: config.tone_hz,
            trimmer: config.trimmer,
            wiper: config.wiper.clone(),
        };
        let runs = std::iter::once(&first)
            .chain(others)
            .zip(seed..)
            .map(|(run, seed)| {
                let trimmer = Trimmer::new(run.trimmer, &run.wiper, seed);
                Resting {
                    tone_hz: run.tone_hz,
                    arrived: trimmer.percent(),
                    trimmer,
                    strokes: 0,
                }
            })
            .collect();
        Self {
            machine: SimulatedMachine::new(config, seed),
            runs,
            at: 0,
            influenced: 0.0,
        }
    }

    /// Switches to the speed or direction of this number; nothing where there
    /// is none of it.
    pub fn switch_to(&mut self, number: usize) {
        if number >= self.runs.len() || number == self.at {
            return;
        }
        self.machine
            .exchange_trimmer(&mut self.runs[self.at].trimmer);
        self.at = number;
        self.machine
            .exchange_trimmer(&mut self.runs[number].trimmer);
        self.machine.set_tone(self.runs[number].tone_hz);
        let others = self.runs.iter().enumerate().filter(|(at, _)| *at != number);
        let turned: f64 = others
            .map(|(_, run)| run.trimmer.percent() - run.arrived)
            .sum();
        let influenced = INFLUENCE * turned;
        self.machine
            .step_speed(Percent(influenced - self.influenced));
        self.influenced = influenced;
    }

    /// Works the wiper of the trimmer in use once to both ends and back; with
    /// the power off this cleans and is counted.
    pub fn clean_wiper_stroke(&mut self) {
        self.machine.clean_wiper_stroke();
        self.runs[self.at].strokes += u32::from(!self.machine.is_powered());
    }

    /// Cleaning strokes done with the power off at the trimmer in use.
    pub fn strokes(&self) -> u32 {
        self.runs[self.at].strokes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn deck() -> SimulatedDeck {
        let ideal = MachineConfig::ideal();
        let other = RunConfig {
            tone_hz: 1575.0,
            trimmer: TrimmerConfig {
                position: 0.25,
                ..ideal.trimmer
            },
            wiper: WiperConfig::clean(),
        };
        SimulatedDeck::new(ideal, &[other], 3)
    }

    #[test]
    fn each_speed_has_a_trimmer_and_a_tone_of_its_own() {
        let mut deck = deck();
        assert!(deck.machine.aimed_deviation().0.abs() < 1e-12);
        deck.switch_to(1);
        // From -5 to 5 %, at a quarter.
        assert!((deck.machine.aimed_deviation().0 + 2.5).abs() < 1e-12);
        assert!((deck.machine.config().tone_hz - 1575.0).abs() < 1e-12);
        deck.switch_to(0);
        assert!(deck.machine.aimed_deviation().0.abs() < 1e-12);
        deck.switch_to(7);
        assert!((deck.machine.trimmer() - 0.5).abs() < 1e-12);
    }

    #[test]
    fn turning_one_trimmer_moves_the_other_speed_a_little() {
        let mut deck = deck();
        deck.switch_to(1);
        deck.machine.set_trimmer(0.5);
        assert!(deck.machine.aimed_deviation().0.abs() < 1e-12);
        deck.switch_to(0);
        // A fifth of 2.5 %.
        assert!((deck.machine.aimed_deviation().0 - 0.5).abs() < 1e-12);
        deck.machine.set_trimmer(0.45);
        deck.switch_to(1);
        assert!((deck.machine.aimed_deviation().0 + 0.1).abs() < 1e-12);
    }

    #[test]
    fn strokes_are_counted_for_the_trimmer_that_was_worked() {
        let mut deck = deck();
        deck.clean_wiper_stroke();
        assert_eq!(deck.strokes(), 0, "the power is on");
        deck.machine.power_off();
        deck.clean_wiper_stroke();
        assert_eq!(deck.strokes(), 1);
        deck.switch_to(1);
        assert_eq!(deck.strokes(), 0);
    }
}
