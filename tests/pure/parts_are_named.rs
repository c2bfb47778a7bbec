//! The part behind a line is named, both where two fit, and none where none
//! does. Machines are invented: their rates lie anywhere within the tolerance of
//! the card, evenly, which is not what the likelihoods are reckoned by.

use std::collections::BTreeMap;

use tapewright::readings::{
    Chirp, FlutterLine, FlutterLines, LineMotion, Position, SPECTRUM_CELLS,
};
use tapewright::references::parts::{HeardAt, Naming, PartsCard, attribute, generic};
use tapewright::units::{Hertz, Percent, Seconds};

use crate::support::dice::Dice;

/// Half of what a tape is usually off (common practice).
const TAPE_PERCENT: f64 = 0.5;

fn reels(hub_mm: f64, tape_um: f64, length_m: f64) -> String {
    let reel = |name: &str, side: &str| {
        format!(
            "[[part]]\nname = \"{name}\"\nreel = \"{side}\"\nhub_mm = {hub_mm}\n\
             tape_um = {tape_um}\nlength_m = {length_m}\ntolerance_percent = 4\n"
        )
    };
    reel("take-up reel", "take_up") + &reel("supply reel", "supply")
}

/// A card with these parts (name, turns a second, tolerance) and reels.
fn card(speed_cm_s: f64, parts: &[(&str, f64, f64)], reels: &str) -> PartsCard {
    let head = format!("parts_card = 1\nname = \"bench\"\nspeed_cm_s = {speed_cm_s}\n");
    let part = |(name, turns, tolerance): &(&str, f64, f64)| {
        format!(
            "[[part]]\nname = \"{name}\"\nturns_per_second = {turns}\n\
             tolerance_percent = {tolerance}\nharmonics = [1, 2]\n"
        )
    };
    let text = parts.iter().map(part).fold(head, |text, part| text + &part);
    PartsCard::from_toml(&(text + reels)).expect("a card")
}

fn cards() -> Vec<PartsCard> {
    let cassette = reels(22.0, 18.0, 86.0);
    let open = reels(57.0, 50.0, 366.0);
    vec![
        card(
            4.7625,
            &[
                ("pinch roller", 1.26, 1.5),
                ("belt", 2.9, 1.5),
                ("capstan", 6.06, 1.5),
                ("motor", 40.0, 2.0),
            ],
            &cassette,
        ),
        card(
            4.7625,
            &[
                ("pinch roller", 1.31, 1.5),
                ("capstan", 5.05, 1.0),
                ("belt", 3.4, 1.5),
                ("idler", 9.1, 1.5),
                ("motor", 26.7, 1.5),
            ],
            &cassette,
        ),
        card(
            4.7625,
            &[
                ("pinch roller", 1.38, 1.5),
                ("supply capstan", 5.61, 1.0),
                ("take-up capstan", 5.05, 1.0),
                ("belt", 2.3, 1.5),
                ("motor", 29.8, 1.5),
            ],
            &cassette,
        ),
        card(
            19.05,
            &[
                ("pinch roller", 1.73, 1.0),
                ("capstan", 7.58, 1.0),
                ("motor", 25.0, 1.0),
                ("guide roller", 3.03, 2.0),
            ],
            &open,
        ),
    ]
}

/// A line as the finder gives it of 60 s: ± of its rate by the bound of a
/// sinusoid in noise (Rife & Boorstyn 1974), and 10 ppm.
fn line(dice: &mut Dice, hz: f64, peak: f64, chirp: Option<f64>) -> FlutterLine {
    let noise = dice.between(1e-4, 1e-3);
    let sd = (3.0 * noise / (9.87 * peak * peak * 60f64.powi(3)))
        .sqrt()
        .hypot(1e-5 * hz);
    let chirp_sd = 0.6;
    let measured = chirp.map(|chirp| chirp + chirp_sd * dice.gaussian());
    FlutterLine {
        hz: Hertz(hz + sd * dice.gaussian()),
        hz_uncertainty: Hertz(2.0 * sd),
        peak: Percent(peak),
        peak_uncertainty: Percent(0.05 * peak),
        weighted_share: 0.1,
        motion: LineMotion::NotTold,
        course: None,
        chirp: measured
            .filter(|it| it.abs() > 2.5 * chirp_sd)
            .map(|it| Chirp {
                percent_per_minute: it,
                uncertainty_percent_per_minute: 2.0 * chirp_sd,
            }),
        windows: Vec::new(),
        parts: Vec::new(),
    }
}

fn together(mut lines: Vec<FlutterLine>) -> FlutterLines {
    lines.sort_by(|a, b| b.peak.0.total_cmp(&a.peak.0));
    FlutterLines {
        lines,
        seen: Seconds(60.0),
        reach: [Hertz(0.1), Hertz(200.0)],
        smallest: [None; 3],
        no_line_slow: 0.3,
        no_line_fast: 0.3,
        card: None,
        spectrum: vec![0.0; SPECTRUM_CELLS].into(),
    }
}

/// What came of a case.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Outcome {
    Alone,
    FirstOfSeveral,
    AmongSeveral,
    DontKnow,
    WrongSeveral,
    WrongAlone,
}

/// How a machine is drawn.
#[derive(Clone, Copy)]
struct Draw {
    /// How far the tape may be off, in percent.
    tape: f64,
    /// What is said of that.
    stated: Option<f64>,
    /// The strongest line is none of the card's.
    foreign: bool,
    place_said: bool,
}

const USUAL: Draw = Draw {
    tape: TAPE_PERCENT,
    stated: Some(TAPE_PERCENT),
    foreign: false,
    place_said: false,
};

/// One machine with one fault, its lines held against its card.
fn case(dice: &mut Dice, card: &PartsCard, draw: Draw) -> (String, String, Outcome) {
    let deviation = dice.between(-3.0, 3.0);
    let tape = dice.between(-draw.tape, draw.tape);
    let on_tape = dice.unit();
    // Other cassettes than the card's: the geometry stays, the thickness not.
    let thinner = dice.between(0.6, 1.1);
    let fault = dice.below(card.parts.len());
    let mut lines = Vec::new();
    for (nth, rate) in card.rates(None).into_iter().enumerate() {
        let within = 1.0 + dice.between(-1.0, 1.0) * rate.tolerance_percent / 100.0;
        let speed = 1.0 + deviation / 100.0;
        let [slow, fast] = rate.turns;
        let (turns, chirp) = match rate.pack {
            // By d² = d₀² + 4 t L/π the square of 1/f goes evenly along the tape.
            Some(pack) => {
                let filled = if pack.percent_per_minute(1.0) < 0.0 {
                    on_tape
                } else {
                    1.0 - on_tape
                };
                let square = |f: f64| 1.0 / (f * f);
                let turns = 1.0 / (square(fast) + filled * (square(slow) - square(fast))).sqrt();
                (turns, Some(thinner * pack.percent_per_minute(turns)))
            }
            None => (rate.turns[0], None),
        };
        let hz = turns * within * speed;
        let is_fault = nth == fault && !draw.foreign;
        let peak = if is_fault {
            dice.between(0.05, 0.2)
        } else {
            dice.ratio(0.004, 0.03)
        };
        lines.push(line(dice, hz, peak, chirp));
        if dice.chance(0.5) {
            let twice = peak * dice.between(0.1, 0.6);
            lines.push(line(dice, 2.0 * hz, twice, chirp));
        }
    }
    if draw.foreign {
        let hz = dice.ratio(0.4, 60.0);
        let peak = dice.between(0.05, 0.2);
        lines.push(line(dice, hz, peak, None));
    }
    let mut lines = together(lines);
    let place = match on_tape {
        low if low < 0.15 => Some(Position::Start),
        middle if (0.4..0.6).contains(&middle) => Some(Position::Middle),
        high if high > 0.85 => Some(Position::End),
        _ => None,
    };
    let at = HeardAt::new(
        Percent(deviation + tape),
        Some(Percent(0.01)),
        draw.stated.map(Percent),
        false,
        place.filter(|_| draw.place_said),
    );
    attribute(&mut lines, card, &at);
    // The strongest: the others are a third of it at most.
    let found = &lines.lines[0];
    let wanted = if draw.foreign {
        "not on the card"
    } else {
        &card.parts[fault].name
    };
    let names: Vec<&str> = Naming::of(&lines, found)
        .parts()
        .iter()
        .map(|it| it.name.as_str())
        .collect();
    let outcome = match &names[..] {
        [] => Outcome::DontKnow,
        [one] if *one == wanted => Outcome::Alone,
        [first, ..] if *first == wanted => Outcome::FirstOfSeveral,
        several if several.contains(&wanted) => Outcome::AmongSeveral,
        [_] => Outcome::WrongAlone,
        _ => Outcome::WrongSeveral,
    };
    let named = if names.is_empty() {
        "don't know".to_owned()
    } else {
        names.join(" or ")
    };
    (wanted.to_owned(), named, outcome)
}

/// Shares of the outcomes, and who was taken for whom.
struct Judged {
    of: BTreeMap<Outcome, usize>,
    cases: usize,
}

impl Judged {
    fn of(cards: &[PartsCard], cases: usize, seed: u64, draw: Draw) -> Self {
        let mut dice = Dice::new(seed);
        let mut of = BTreeMap::new();
        let mut confused: BTreeMap<(String, String), usize> = BTreeMap::new();
        for nth in 0..cases {
            let (wanted, named, outcome) = case(&mut dice, &cards[nth % cards.len()], draw);
            *of.entry(outcome).or_default() += 1;
            if outcome != Outcome::Alone {
                *confused.entry((wanted, named)).or_default() += 1;
            }
        }
        println!("{of:?}");
        for ((wanted, named), count) in confused {
            println!("  {count:4} {wanted} -> {named}");
        }
        Self { of, cases }
    }

    fn share(&self, outcomes: &[Outcome]) -> f64 {
        let count = outcomes.iter().filter_map(|it| self.of.get(it));
        count.sum::<usize>() as f64 / self.cases as f64
    }

    fn first(&self) -> f64 {
        self.share(&[Outcome::Alone, Outcome::FirstOfSeveral])
    }

    fn wrong_alone(&self) -> f64 {
        self.share(&[Outcome::WrongAlone])
    }
}

#[test]
fn the_faulty_part_is_named_first() {
    let judged = Judged::of(&cards(), 2000, 5, USUAL);
    assert!(judged.first() >= 0.9, "{}", judged.first());
    assert!(judged.wrong_alone() <= 0.03, "{}", judged.wrong_alone());
}

#[test]
fn a_tape_of_unknown_error_makes_it_no_surer() {
    // Nobody has said how true the tape is, and it is a home-made one.
    let home_made = Draw {
        tape: 3.0,
        stated: None,
        ..USUAL
    };
    let judged = Judged::of(&cards(), 2000, 6, home_made);
    assert!(judged.first() >= 0.9, "{}", judged.first());
    assert!(judged.wrong_alone() <= 0.03, "{}", judged.wrong_alone());
}

#[test]
fn a_line_that_is_on_no_card_is_rarely_named() {
    let foreign = Draw {
        foreign: true,
        ..USUAL
    };
    let judged = Judged::of(&cards(), 2000, 7, foreign);
    // A chance meeting within a tolerance cannot be told by the rate; the
    // windows of the card leave no more room than this.
    assert!(judged.share(&[Outcome::DontKnow]) >= 0.7);
}

#[test]
fn a_card_of_a_kind_of_machine_is_a_hint() {
    let judged = Judged::of(generic(), 2000, 8, USUAL);
    assert!(judged.share(&[Outcome::WrongAlone]) <= 0.05);
}
