//! Lines held against the parts of a card: how likely each part is behind each
//! line, by its rate, by how that moves, and by the other lines of the part.
//!
//! A rate is all that a line has, and a part that is not on the card, or a line
//! that was recorded on the tape, may have the same by chance: every likelihood
//! leaves room for that.

use statrs::distribution::{Continuous, ContinuousCDF, Normal};

use super::card::PartsCard;
use super::naming::{mains_of, named};
use super::rates::Pack;
use crate::readings::{
    FlutterLine, FlutterLines, HOME_MADE, LikelyPart, LineMotion, Position, SpeedFigures,
};
use crate::signal::lines::{MAINS_HZ, MAINS_STRAY};
use crate::units::Percent;

/// Beforehand, that a line comes from something that is not on the card.
/// Practice, no source.
const NOT_ON_CARD: f64 = 0.25;
/// Such a line may lie anywhere between 0.1 and 200 a second.
const ANYWHERE: f64 = NOT_ON_CARD / 7.6; // ln(200 ÷ 0.1)
/// Beforehand, that a line which may not follow the speed is the mains', at one
/// of their rates and this near to it. Practice, no source.
const MAINS: f64 = 0.05;
/// A part shows itself twice a turn, or at its teeth, half as readily as once.
/// Practice, no source.
const HARMONIC: f64 = 0.5;
/// What speaks against a part leaves it this much: the signs are no proofs.
const SPOKEN_AGAINST: f64 = 0.02;
/// From here on a line is sure enough to say more of its part's rate.
const TEACHES: f64 = 0.8;
/// How well two lines of one part agree besides the ± of each, as a part.
const LINES_AGREE: f64 = 2e-4;
/// Tapes that are thinner or thicker than the card says: how far the pace of a
/// pack may be off, as a part of it. Practice: 9 to 18 µm.
const PACE_OFF: f64 = 0.4;
/// A part that is no reel keeps its rate to this, in percent a minute, drift
/// of the machine left aside.
const KEEPS_PERCENT_PER_MINUTE: f64 = 0.2;
/// Less likely than this is not told.
const TOLD: f64 = 0.01;

/// At what speed, and where on the tape, the lines were heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardAt {
    /// Against right speed.
    pub deviation: Percent,
    /// 95 % of it, the reference's own error counted.
    pub uncertainty: Percent,
    /// Where on the tape; `None` where nobody said.
    pub place: Option<Position>,
}

impl HeardAt {
    /// At a deviation whose ± is known without and with the reference's own
    /// error. Where that is not known the tape may be home-made, and one
    /// that was recorded on the machine tells nothing.
    pub fn new(
        deviation: Percent,
        own: Option<Percent>,
        with_reference: Option<Percent>,
        recorded_here: bool,
        place: Option<Position>,
    ) -> Self {
        let unknown = Percent(own.unwrap_or_default().0.hypot(HOME_MADE.0));
        let (deviation, uncertainty) = if recorded_here {
            (Percent(0.0), unknown)
        } else {
            (deviation, with_reference.unwrap_or(unknown))
        };
        Self {
            deviation,
            uncertainty,
            place,
        }
    }

    /// The same of the figures of a stretch.
    pub fn of(speed: &SpeedFigures, recorded_here: bool, place: Option<Position>) -> Self {
        Self::new(
            speed.deviation,
            speed.uncertainty,
            speed.uncertainty_with_reference,
            recorded_here,
            place,
        )
    }
}

/// Says of each line which parts of the card it may come from.
pub fn attribute(lines: &mut FlutterLines, card: &PartsCard, at: &HeardAt) {
    let shown = Shown::of(card, at);
    let alone: Vec<Vec<f64>> = lines
        .lines
        .iter()
        .map(|line| likelihoods(line, &shown, |it| it.density(line)))
        .collect();
    let together: Vec<Vec<f64>> = (0..lines.lines.len())
        .map(|nth| with_stronger(nth, &lines.lines, &shown, &alone))
        .collect();
    for (line, likelihoods) in lines.lines.iter_mut().zip(together) {
        line.parts = told(card, &shown, &likelihoods);
        // What is not named is not known: as for people, so for scripts.
        if named(line).is_empty() {
            line.parts.clear();
        }
    }
    lines.card = Some(card.name.clone());
}

/// A part at one of its harmonics.
struct Shown {
    part: usize,
    harmonic: u32,
    /// Logarithm of the lowest and highest rate at which it would be heard.
    at: [f64; 2],
    /// Standard deviation beside that, the present speed's counted.
    sd: f64,
    prior: f64,
    pack: Option<Pack>,
}

impl Shown {
    fn of(card: &PartsCard, heard: &HeardAt) -> Vec<Self> {
        let rates = card.rates(heard.place);
        // A deviation of −100 % is that of no tape that plays.
        let speed = heard.deviation.ratio().max(0.01).ln();
        let speed_sd = heard.uncertainty.0 / 200.0;
        let of_part = |nth: usize| {
            let (part, rate) = (&card.parts[nth], &rates[nth]);
            let harmonics = part.all_harmonics();
            let weight = |harmonic: u32| if harmonic == 1 { 1.0 } else { HARMONIC };
            let all: f64 = harmonics.iter().map(|it| weight(*it)).sum();
            let prior = (1.0 - NOT_ON_CARD) / rates.len() as f64 / all;
            harmonics.into_iter().map(move |harmonic| Self {
                part: nth,
                harmonic,
                at: rate
                    .turns
                    .map(|it| it.ln() + f64::from(harmonic).ln() + speed),
                sd: (rate.tolerance_percent / 200.0).hypot(speed_sd),
                prior: prior * weight(harmonic),
                pack: rate.pack,
            })
        };
        (0..rates.len()).flat_map(of_part).collect()
    }

    /// How densely this part's rates lie at that of the line, by the logarithm.
    fn density(&self, line: &FlutterLine) -> f64 {
        let sd = self.sd.hypot(relative_sd(line)).max(1e-9);
        let [low, high] = self.at;
        let rate = line.hz.0.ln();
        let Ok(normal) = Normal::new(0.0, sd) else {
            return 0.0;
        };
        if high - low < sd {
            normal.pdf(rate - f64::midpoint(low, high))
        } else {
            (normal.cdf(rate - low) - normal.cdf(rate - high)) / (high - low)
        }
    }
}

/// Standard deviation of a line's rate, as a part of it.
fn relative_sd(line: &FlutterLine) -> f64 {
    line.hz_uncertainty.0 / (2.0 * line.hz.0)
}

/// How likely each is, by densities; what is missing to 1 is what is not on
/// the card.
fn likelihoods(line: &FlutterLine, shown: &[Shown], density: impl Fn(&Shown) -> f64) -> Vec<f64> {
    let weights: Vec<f64> = shown
        .iter()
        .map(|it| it.prior * density(it) * otherwise(line, it.pack.as_ref()))
        .collect();
    let all = elsewhere(line) + weights.iter().sum::<f64>();
    weights.into_iter().map(|weight| weight / all).collect()
}

/// The same density of all that is no part: anything, and the mains.
fn elsewhere(line: &FlutterLine) -> f64 {
    let at_mains = mains_of(line).filter(|_| line.motion != LineMotion::Turns);
    let at_each = MAINS / MAINS_HZ.len() as f64 / (2.0 * MAINS_STRAY);
    ANYWHERE + at_mains.map_or(0.0, |_| at_each)
}

/// What else than its rate speaks of a part: what does not follow the speed is
/// none, and a rate that moves by itself is a reel's and goes the way of its
/// pack.
fn otherwise(line: &FlutterLine, pack: Option<&Pack>) -> f64 {
    if line.motion == LineMotion::KeepsRate {
        return SPOKEN_AGAINST;
    }
    let Some(chirp) = line.chirp else {
        return 1.0;
    };
    let (pace, own_sd) = pack.map_or((0.0, KEEPS_PERCENT_PER_MINUTE), |pack| {
        let pace = pack.percent_per_minute(line.hz.0);
        (pace, PACE_OFF * pace.abs())
    });
    let sd = (chirp.uncertainty_percent_per_minute / 2.0).hypot(own_sd);
    let away = (chirp.percent_per_minute - pace) / sd.max(1e-9);
    (-0.5 * away * away).exp().max(SPOKEN_AGAINST)
}

/// A stronger line that is surely of a part says where the others of that part
/// must lie. A harmonic is then as likely that part's as the stronger line is:
/// whatever that comes from has harmonics.
fn with_stronger(
    nth: usize,
    lines: &[FlutterLine],
    shown: &[Shown],
    alone: &[Vec<f64>],
) -> Vec<f64> {
    let line = &lines[nth];
    let teacher = |part: usize| {
        let others = lines.iter().zip(alone);
        let sure = others.filter_map(|(other, likelihoods)| {
            let mut of_part = shown.iter().zip(likelihoods).filter(|it| it.0.part == part);
            let (it, likelihood) = of_part.find(|it| *it.1 >= TEACHES)?;
            (other.peak.0 > line.peak.0).then_some((other, it.harmonic, *likelihood))
        });
        sure.max_by(|a, b| a.0.peak.0.total_cmp(&b.0.peak.0))
    };
    let taught = likelihoods(line, shown, |it| match teacher(it.part) {
        None => it.density(line),
        Some((stronger, harmonic, _)) => {
            let ratio = f64::from(it.harmonic) / f64::from(harmonic);
            let sd = relative_sd(stronger).hypot(relative_sd(line)) + LINES_AGREE;
            let away = (line.hz.0 / (stronger.hz.0 * ratio)).ln();
            Normal::new(0.0, sd).map_or(0.0, |normal| normal.pdf(away))
        }
    });
    let sure_as = |it: &Shown| teacher(it.part).map_or(1.0, |(.., likelihood)| likelihood);
    let each = shown.iter().zip(taught);
    each.map(|(it, likelihood)| likelihood * sure_as(it))
        .collect()
}

fn told(card: &PartsCard, shown: &[Shown], likelihoods: &[f64]) -> Vec<LikelyPart> {
    let mut parts: Vec<LikelyPart> = shown
        .iter()
        .zip(likelihoods)
        .filter(|(_, likelihood)| **likelihood > TOLD)
        .map(|(it, likelihood)| LikelyPart {
            name: card.parts[it.part].name.clone(),
            harmonic: it.harmonic,
            likelihood: *likelihood,
            usual: card.parts[it.part].usual(),
        })
        .collect();
    parts.sort_by(|a, b| b.likelihood.total_cmp(&a.likelihood));
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Chirp;
    use crate::references::parts::Naming;
    use crate::references::parts::hand_made::{line, together};

    /// A machine with a capstan, a pinch roller, an idler near it, and reels.
    const CARD: &str = "parts_card = 1\nname = \"bench\"\nspeed_cm_s = 4.7625\n\
        [[part]]\nname = \"capstan\"\nturns_per_second = 6.0\ntolerance_percent = 1.5\n\
        harmonics = [1, 2]\nnormal_percent = 0.02\n\
        [[part]]\nname = \"pinch roller\"\nturns_per_second = 1.30\ntolerance_percent = 2\n\
        [[part]]\nname = \"idler\"\nturns_per_second = 1.31\ntolerance_percent = 2\n\
        [[part]]\nname = \"take-up reel\"\nreel = \"take_up\"\nhub_mm = 22\ntape_um = 18\n\
        length_m = 86\n\
        [[part]]\nname = \"supply reel\"\nreel = \"supply\"\nhub_mm = 22\ntape_um = 18\n\
        length_m = 86\n";

    fn at(deviation: f64, place: Option<Position>) -> HeardAt {
        HeardAt {
            deviation: Percent(deviation),
            uncertainty: Percent(0.2),
            place,
        }
    }

    fn held(lines: Vec<FlutterLine>, at: &HeardAt) -> Vec<FlutterLine> {
        let mut lines = together(lines);
        attribute(&mut lines, &PartsCard::from_toml(CARD).unwrap(), at);
        for line in &lines.lines {
            let all: f64 = line.parts.iter().map(|it| it.likelihood).sum();
            assert!((0.0..=1.0).contains(&all), "{line:?}");
        }
        lines.lines
    }

    fn names(line: &FlutterLine) -> Vec<&str> {
        let likely = line.parts.iter().filter(|it| it.likelihood > 0.1);
        likely.map(|it| it.name.as_str()).collect()
    }

    #[test]
    fn a_part_is_known_at_the_speed_that_the_machine_runs_at() {
        let right = held(vec![line(6.0, 0.05)], &at(0.0, None));
        assert_eq!(names(&right[0]), ["capstan"]);
        assert_eq!(right[0].parts[0].usual, Some(Percent(0.02)));
        let fast = held(vec![line(6.0 * 1.08, 0.05)], &at(8.0, None));
        assert_eq!(names(&fast[0]), ["capstan"]);
        let elsewhere = held(vec![line(6.0 * 1.08, 0.05)], &at(0.0, None));
        assert_eq!(names(&elsewhere[0]), [""; 0]);
    }

    #[test]
    fn two_parts_that_fit_are_both_named() {
        let lines = held(vec![line(1.305, 0.05)], &at(0.0, None));
        let mut names = names(&lines[0]);
        names.sort_unstable();
        assert_eq!(names, ["idler", "pinch roller"]);
    }

    #[test]
    fn what_fits_nothing_is_not_named() {
        let lines = held(vec![line(3.3, 0.05)], &at(0.0, None));
        assert_eq!(lines[0].parts, []);
    }

    #[test]
    fn a_reel_is_told_by_the_way_its_rate_moves() {
        for (slope, wanted) in [(-3.5, "take-up reel"), (3.5, "supply reel")] {
            let mut moving = line(0.5, 0.08);
            moving.chirp = Some(Chirp {
                percent_per_minute: slope,
                uncertainty_percent_per_minute: 1.2,
            });
            let lines = held(vec![moving], &at(0.0, None));
            assert_eq!(names(&lines[0]), [wanted]);
        }
        let still = held(vec![line(0.5, 0.08)], &at(0.0, None));
        assert_eq!(names(&still[0]).len(), 2, "nothing tells them apart");
    }

    #[test]
    fn a_place_that_is_said_tells_the_reels_apart() {
        // Near the start the take-up reel is empty, so it is the fast one.
        for (hz, wanted) in [(0.66, "take-up reel"), (0.32, "supply reel")] {
            let lines = held(vec![line(hz, 0.08)], &at(0.0, Some(Position::Start)));
            assert_eq!(names(&lines[0]), [wanted]);
        }
    }

    #[test]
    fn harmonics_go_with_their_part() {
        // The capstan of this machine turns at 6.05: twice that is 12.1, and
        // what lies at 12.0 is something else, though the card allows it.
        let lines = held(
            vec![line(6.05, 0.05), line(12.1, 0.02), line(12.0, 0.015)],
            &at(0.0, None),
        );
        assert_eq!(names(&lines[1]), ["capstan"]);
        assert_eq!(lines[1].parts[0].harmonic, 2);
        assert_eq!(names(&lines[2]), [""; 0]);
        let sure = [0, 1].map(|nth: usize| lines[nth].parts[0].likelihood);
        assert!(
            sure[1] <= sure[0],
            "no surer than the part itself: {sure:?}"
        );
    }

    #[test]
    fn what_does_not_follow_the_speed_is_no_part() {
        let mut stays = line(6.0, 0.05);
        stays.motion = LineMotion::KeepsRate;
        let lines = held(vec![stays], &at(0.0, None));
        assert_eq!(lines[0].parts, []);
    }

    #[test]
    fn what_words_do_not_name_scripts_do_not_either() {
        // At the edge of what the card allows the capstan is no more than a guess.
        let edge = (600..640).map(|it| f64::from(it) / 100.0);
        let mut empty = 0;
        for hz in edge {
            let mut lines = together(vec![line(hz, 0.05)]);
            attribute(
                &mut lines,
                &PartsCard::from_toml(CARD).unwrap(),
                &at(0.0, None),
            );
            let named = !Naming::of(&lines, &lines.lines[0]).parts().is_empty();
            assert_eq!(
                named,
                !lines.lines[0].parts.is_empty(),
                "{:?}",
                lines.lines[0]
            );
            empty += usize::from(!named);
        }
        assert!((1..40).contains(&empty), "{empty}");
    }

    #[test]
    fn nobody_who_has_not_said_how_true_the_tape_is_gets_a_narrow_window() {
        let unknown = HeardAt::new(Percent(0.0), Some(Percent(0.01)), None, false, None);
        assert!(unknown.uncertainty.0 >= HOME_MADE.0);
        let here = HeardAt::new(Percent(-2.0), Some(Percent(0.01)), None, true, None);
        assert_eq!(here.deviation, Percent(0.0), "it reads right at any speed");
        assert!(here.uncertainty.0 >= HOME_MADE.0);
    }
}
