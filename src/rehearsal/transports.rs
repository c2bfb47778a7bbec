//! What turns in the machines to practise on: usual kinds of transport, each
//! machine with rates of its own, and the card that somebody who knows it would
//! write. Rates and tolerances are usual ones (common practice, no source) or
//! invented.

use std::fmt::Write as _;

use super::noise::Random;
use super::pack::Pack;
use super::part_faults::PartFault;

/// A kind of transport.
#[derive(Debug)]
pub(super) struct Transport {
    pub(super) name: &'static str,
    pub(super) speed_cm_s: f64,
    /// Runs on cells, behind a governor; else on the mains.
    on_cells: bool,
    /// Noise of its speed at most, percent.
    pub(super) noise_percent: f64,
    /// What each part may waver by and is no fault, percent.
    usual_percent: f64,
    /// Hub in millimetres, tape in micrometres, its length in metres.
    tape: [f64; 3],
    parts: &'static [Usual],
}

/// A part with its usual turns a second and its tolerance in percent.
#[derive(Debug)]
struct Usual(PartFault, &'static str, f64, f64);

/// How far machines of one kind lie from what is usual, as a ratio.
const KINDS_SPREAD: f64 = 0.1;
/// Tolerance of what is worked out from a reel's hub and tape, percent.
const REEL_TOLERANCE: f64 = 4.0;
/// Brushes and poles of the motors.
const POLES: u32 = 3;

#[rustfmt::skip]
pub(super) const TRANSPORTS: [Transport; 6] = {
    use PartFault::{Belt, Capstan, Idler, Motor, PinchRoller};
    [
        Transport {
            name: "portable cassette", speed_cm_s: 4.7625, on_cells: true,
            noise_percent: 0.09, usual_percent: 0.05, tape: [22.0, 18.0, 86.0],
            parts: &[
                Usual(Capstan, "capstan", 6.06, 1.5), Usual(PinchRoller, "pinch roller", 1.26, 1.5),
                Usual(Belt, "belt", 2.9, 1.5), Usual(Motor, "motor", 40.0, 2.0),
            ],
        },
        Transport {
            name: "two-head deck", speed_cm_s: 4.7625, on_cells: false,
            noise_percent: 0.06, usual_percent: 0.02, tape: [22.0, 18.0, 86.0],
            parts: &[
                Usual(Capstan, "capstan", 5.05, 1.0), Usual(PinchRoller, "pinch roller", 1.31, 1.5),
                Usual(Belt, "belt", 3.4, 1.5), Usual(Idler, "idler", 9.1, 1.5),
                Usual(Motor, "motor", 26.7, 1.5),
            ],
        },
        Transport {
            name: "dual capstan", speed_cm_s: 4.7625, on_cells: false,
            noise_percent: 0.05, usual_percent: 0.02, tape: [22.0, 12.0, 129.0],
            parts: &[
                Usual(Capstan, "take-up capstan", 5.05, 1.0),
                Usual(Capstan, "supply capstan", 5.61, 1.0),
                Usual(PinchRoller, "take-up pinch roller", 1.26, 1.5),
                Usual(PinchRoller, "supply pinch roller", 1.38, 1.5),
                Usual(Belt, "belt", 2.3, 1.5), Usual(Motor, "motor", 29.8, 1.5),
            ],
        },
        Transport {
            name: "open reel 19", speed_cm_s: 19.05, on_cells: false,
            noise_percent: 0.05, usual_percent: 0.02, tape: [57.0, 50.0, 366.0],
            parts: &[
                Usual(Capstan, "capstan", 7.58, 1.0), Usual(PinchRoller, "pinch roller", 1.73, 1.0),
                Usual(Idler, "guide roller", 3.03, 2.0), Usual(Motor, "motor", 25.0, 1.0),
            ],
        },
        Transport {
            name: "open reel 38", speed_cm_s: 38.1, on_cells: false,
            noise_percent: 0.04, usual_percent: 0.02, tape: [114.0, 50.0, 762.0],
            parts: &[
                Usual(Capstan, "capstan", 12.1, 1.0), Usual(PinchRoller, "pinch roller", 2.42, 1.0),
                Usual(Idler, "guide roller", 6.06, 2.0), Usual(Motor, "motor", 25.0, 1.0),
            ],
        },
        Transport {
            name: "microcassette", speed_cm_s: 2.4, on_cells: true,
            noise_percent: 0.09, usual_percent: 0.05, tape: [11.0, 12.0, 43.0],
            parts: &[
                Usual(Capstan, "capstan", 5.1, 2.0), Usual(PinchRoller, "pinch roller", 0.95, 2.0),
                Usual(Belt, "belt", 1.9, 2.0), Usual(Motor, "motor", 36.0, 2.0),
            ],
        },
    ]
};

/// A rotating part as it is, and as the card of its machine has it.
#[derive(Clone, Debug, PartialEq)]
pub struct TruePart {
    /// What it is called on the card.
    pub name: &'static str,
    /// The fault that this part can have.
    pub fault: PartFault,
    /// Turns a second at nominal speed as the card has it; of a reel, where the
    /// tape stands at the start.
    pub card_turns_per_second: f64,
    /// The same as it is.
    pub turns_per_second: f64,
    /// How far the two may lie apart, percent.
    pub tolerance_percent: f64,
    /// How often a turn it may show.
    pub harmonics: Vec<u32>,
    /// Poles that show as often a turn as there are.
    pub poles: Option<u32>,
    /// Up to this amplitude it is no fault, percent.
    pub usual_percent: f64,
    /// The pack of a reel.
    pub pack: Option<Pack>,
}

/// Everything that turns in a machine, and what is wrong with it.
#[derive(Clone, Debug, PartialEq)]
pub struct MachineParts {
    /// The kind of transport.
    pub transport: &'static str,
    /// Nominal speed of the tape in centimetres a second.
    pub speed_cm_s: f64,
    /// The parts.
    pub parts: Vec<TruePart>,
    /// What is wrong.
    pub fault: PartFault,
    /// The part that it is wrong with, by its place in the list; `None` where it
    /// is none of them.
    pub faulty: Option<usize>,
    /// The same in words, for the end of a practice.
    pub truth: String,
}

/// How far a machine's true rates lie from its card. No one law draws them all:
/// what is found must not rest on one.
#[derive(Clone, Copy)]
enum Law {
    /// The tolerance is two standard deviations.
    Normal,
    /// Anywhere within it.
    Even,
    /// Near its ends.
    Ends,
}

impl Law {
    fn drawn(random: &mut Random) -> Self {
        match (random.unit() * 3.0) as u32 {
            0 => Self::Normal,
            1 => Self::Even,
            _ => Self::Ends,
        }
    }

    /// Off by this share of the tolerance.
    fn share(self, random: &mut Random) -> f64 {
        match self {
            Self::Normal => (random.normal() / 2.0).clamp(-1.0, 1.0),
            Self::Even => random.between(-1.0, 1.0),
            Self::Ends => {
                let end = random.between(0.8, 1.0);
                if random.chance(0.5) { end } else { -end }
            }
        }
    }
}

impl Transport {
    /// Can this be wrong with it?
    pub(super) fn can_have(&self, fault: PartFault) -> bool {
        match fault {
            PartFault::None | PartFault::Azimuth | PartFault::Reel => true,
            PartFault::Ripple => !self.on_cells,
            PartFault::Hunting | PartFault::TiredCells => self.on_cells,
            part => self.parts.iter().any(|usual| usual.0 == part),
        }
    }

    /// The parts of one machine of this kind.
    pub(super) fn parts(&self, random: &mut Random) -> Vec<TruePart> {
        let law = Law::drawn(random);
        let turning = self
            .parts
            .iter()
            .map(|&Usual(fault, name, turns, tolerance)| {
                let card = turns * random.between(1.0 - KINDS_SPREAD, 1.0 + KINDS_SPREAD);
                (fault, name, card, tolerance, None)
            });
        let mut drawn: Vec<_> = turning.collect();
        let [hub_mm, tape_um, length_m] = self.tape;
        let passed = random.between(0.05, 0.9);
        for (name, takes_up) in [("take-up reel", true), ("supply reel", false)] {
            let pack = Pack {
                takes_up,
                hub_mm,
                tape_um,
                length_m,
                speed_cm_s: self.speed_cm_s,
                passed,
            };
            let card = pack.turns_per_second(0.0);
            drawn.push((PartFault::Reel, name, card, REEL_TOLERANCE, Some(pack)));
        }
        let mut part = |(fault, name, card, tolerance, pack)| TruePart {
            name,
            fault,
            card_turns_per_second: card,
            turns_per_second: card * (1.0 + law.share(random) * tolerance / 100.0),
            tolerance_percent: tolerance,
            harmonics: if fault == PartFault::Motor {
                vec![1]
            } else {
                vec![1, 2]
            },
            poles: (fault == PartFault::Motor).then_some(POLES),
            usual_percent: self.usual_percent,
            pack,
        };
        drawn.into_iter().map(&mut part).collect()
    }
}

impl MachineParts {
    /// The parts card of this machine, under this name, as text in TOML.
    pub fn card_text(&self, name: &str) -> String {
        let mut text = format!(
            "parts_card = 1\nname = \"{name}\"\nspeed_cm_s = {}\n",
            self.speed_cm_s
        );
        for part in &self.parts {
            part.write_on(&mut text);
        }
        text
    }
}

impl TruePart {
    /// The rates in hertz that it shows at nominal speed, once a turn first.
    pub fn rates_hz(&self) -> impl Iterator<Item = f64> + '_ {
        let orders = self.harmonics.iter().chain(&self.poles);
        orders.map(|order| f64::from(*order) * self.turns_per_second)
    }

    fn write_on(&self, text: &mut String) {
        let Self {
            name,
            tolerance_percent,
            usual_percent,
            ..
        } = self;
        let rate = self.pack.map_or_else(
            || format!("turns_per_second = {:.4}", self.card_turns_per_second),
            |pack| {
                let reel = if pack.takes_up { "take_up" } else { "supply" };
                format!(
                    "reel = \"{reel}\"\nhub_mm = {}\ntape_um = {}\nlength_m = {}",
                    pack.hub_mm, pack.tape_um, pack.length_m
                )
            },
        );
        // A String takes whatever is written.
        let _ = writeln!(
            text,
            "\n[[part]]\nname = \"{name}\"\n{rate}\ntolerance_percent = {tolerance_percent}\n\
             harmonics = {:?}\nnormal_percent = {usual_percent}",
            self.harmonics
        );
        if let Some(poles) = self.poles {
            let _ = writeln!(text, "poles = {poles}");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::references::parts::PartsCard;
    use crate::rehearsal::PracticeMachine;
    use crate::rehearsal::noise::Purpose;

    fn machines() -> impl Iterator<Item = Vec<TruePart>> {
        (0..60).map(|seed| {
            let mut random = Random::new(seed, Purpose::Parts);
            TRANSPORTS[seed as usize % TRANSPORTS.len()].parts(&mut random)
        })
    }

    #[test]
    fn rates_lie_within_their_tolerance_and_follow_no_one_law() {
        let (mut near, mut far, mut all) = (0, 0, 0);
        for part in machines().flatten() {
            let off = 100.0 * (part.turns_per_second / part.card_turns_per_second - 1.0);
            let share = off.abs() / part.tolerance_percent;
            assert!(share < 1.0 + 1e-9, "{part:?}");
            near += usize::from(share < 0.5);
            far += usize::from(share > 0.8);
            all += 1;
        }
        // A normal law alone would leave 11 % beyond 0.8, an even one 20 %.
        assert!(near > all / 4 && far > all / 4, "{near} {far} of {all}");
    }

    #[test]
    fn every_reel_turns_as_its_pack_says() {
        for parts in machines() {
            let reels = parts.iter().filter(|part| part.pack.is_some());
            assert_eq!(reels.count(), 2);
            assert!(
                parts
                    .iter()
                    .all(|part| (0.2..60.0).contains(&part.turns_per_second))
            );
        }
    }

    #[test]
    fn the_card_of_a_machine_has_its_true_rates_within_tolerance() {
        for (seed, fault) in (0..).zip(PartFault::ALL) {
            let practice = PracticeMachine::of_seed(seed).with_part(fault, seed);
            let known = practice.parts.expect("parts");
            let card = PartsCard::from_toml(&known.card_text(&practice.name));
            let card = card.unwrap_or_else(|error| panic!("{error}"));
            assert_eq!((&card.name, card.generic), (&practice.name, false));
            let rates = card.rates(None);
            assert_eq!(rates.len(), known.parts.len());
            for (rate, part) in rates.iter().zip(&known.parts) {
                // The card's figures are rounded.
                let wider = part.tolerance_percent / 100.0 + 1e-4;
                let low = rate.turns[0] * (1.0 - wider);
                let high = rate.turns[1] * (1.0 + wider);
                let turns = part.turns_per_second;
                assert!((low..high).contains(&turns), "{part:?}: {rate:?}");
                assert!((rate.tolerance_percent - part.tolerance_percent).abs() < 1e-9);
            }
        }
    }
}
