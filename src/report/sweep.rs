//! The wiper check in words: verdict, figures, a small picture of speed
//! against the sweep, and two of them side by side.

use std::fmt::Write as _;

use super::numbers::signed;
use super::words::{CLEANING, counted, wrapped};
use crate::readings::{
    BadSpot, CautionCode, FEIGNED_BACKLASH, SpotKind, SpotSeen, SweepReport, SweepVerdict, Unclear,
};

/// Columns and rows of the picture.
const PICTURE_COLUMNS: usize = 60;
const PICTURE_ROWS: usize = 11;

/// Bad spots that are said one by one.
const MOST_SAID: usize = 4;

/// Where else to look when the wiper is not to blame: the usual suspects,
/// common practice, no source.
pub const ELSEWHERE: &str = "belt, pinch roller, motor, supply, dirt in the transport";

/// Nothing bad where the trimmer will stand.
const CAN_STAY: &str = "Nothing bad where the trimmer will stand: set it and go on. Cleaning, \
                        power off, may help but is not needed.";

/// What turning the trimmer does to the figures does not count against the
/// record.
pub const BY_TURNING: [CautionCode; 3] = [
    CautionCode::SpeedMoved,
    CautionCode::Drifting,
    CautionCode::RecordTooShort,
];

/// The verdict in a few words, as a headline.
pub fn headline(report: &SweepReport) -> String {
    match report.verdict {
        SweepVerdict::Smooth => smooth_words(report),
        SweepVerdict::Erratic => report
            .bad_spots
            .first()
            .map_or_else(|| "erratic".to_owned(), spot_words),
        SweepVerdict::NearEnd => match report.right_speed_at() {
            Some(_) => "right speed is within the last tenth of the travel".to_owned(),
            // The ends are known no better than a short touch of them shows.
            None if report.is_just_outside() => {
                "right speed is at the very end of the travel".to_owned()
            }
            None => "right speed lies outside of what was swept".to_owned(),
        },
        SweepVerdict::Unclear => match report.unclear {
            Some(Unclear::Blind | Unclear::TooFast) => "not judged: sweep slower".to_owned(),
            _ => "not judged".to_owned(),
        },
    }
}

fn smooth_words(report: &SweepReport) -> String {
    let hidden = report
        .smallest_seen
        .filter(|least| report.band.is_some_and(|band| least.0 > band.0))
        .map_or_else(String::new, |least| {
            format!(", jumps under {:.1} % would not show", least.0)
        });
    let once = if report.is_one_round() {
        " as far as one round tells"
    } else {
        ""
    };
    format!("smooth{once}{hidden}")
}

/// What the verdict means and what to do next, in a sentence or two.
pub fn advice(report: &SweepReport) -> String {
    match report.verdict {
        SweepVerdict::Smooth => {
            let least = report.smallest_seen.map_or(String::new(), |least| {
                format!(
                    " (a single jump under {:.1} % may not show)",
                    least.0.max(0.1)
                )
            });
            let then = if report.is_one_round() {
                "sweep two rounds in one go: a dead spot shows in the second."
            } else {
                "set it and go on."
            };
            format!("The speed follows the trimmer{least}; {then}")
        }
        SweepVerdict::Erratic if report.is_bad_elsewhere_only() => CAN_STAY.to_owned(),
        SweepVerdict::Erratic => CLEANING.to_owned(),
        SweepVerdict::NearEnd => format!(
            "If that was all of its travel, the trimmer is not what is wrong, so do not force it: the fault is elsewhere \
             ({ELSEWHERE}). Look there first."
        ),
        SweepVerdict::Unclear => unclear_words(report.unclear).to_owned(),
    }
}

fn unclear_words(unclear: Option<Unclear>) -> &'static str {
    match unclear {
        Some(Unclear::NoTone) | None => {
            "No tone was followed; play the test tape, and sweep while it plays."
        }
        Some(Unclear::TooShort) => {
            "It lasted too short a time to be judged; turn the trimmer slowly out and back."
        }
        Some(Unclear::ToneLost) => {
            "The tone was gone for much of the sweep; check the tape and the cable, and repeat it."
        }
        Some(Unclear::HardlyMoved) => {
            "The speed hardly moved; turn the trimmer slowly through its whole usable range and \
             back. If it was turned, it does not set the speed: its track may be broken, or the \
             motor governs itself."
        }
        Some(Unclear::PartOnce) => {
            "Part of its range was passed one way only, and a bad spot has to show on the way back \
             too; turn it through all of it, out and back."
        }
        Some(Unclear::OneWay) => {
            "The trimmer went one way only; a bad spot has to show on the way back too, so turn it \
             out and back."
        }
        Some(Unclear::WhichTone) => {
            "Which tone the tape carries is not known; choose it, and repeat the sweep."
        }
        Some(Unclear::TooFast) => {
            "It was turned faster than the transport follows; take ten seconds for each way."
        }
        Some(Unclear::Blind) => {
            "A jump as large as the band could hide in the flutter or the hand; turn it more \
             slowly and evenly, two rounds."
        }
    }
}

/// A bad spot in a few words.
pub fn spot_words(spot: &BadSpot) -> String {
    let at = signed(spot.at.0, 1);
    let what = match spot.kind {
        SpotKind::Jump => "jumps",
        SpotKind::Reversal => "runs backwards",
        SpotKind::Dead => "dead spot",
        SpotKind::Crackle => "crackles",
    };
    let depth = match spot.depth {
        Some(depth) if spot.kind != SpotKind::Dead => {
            // A pattern takes the mean of a spot, and the lag hides its top.
            format!(" by {} % or more", signed(depth.0, 1))
        }
        _ => String::new(),
    };
    let seen = match spot.seen {
        SpotSeen::Out => ", on the way out",
        SpotSeen::Back => ", on the way back",
        SpotSeen::Both => ", on both ways",
    };
    if spot.is_near_right_speed() {
        format!("{what} at {at} %{depth}{seen}")
    } else {
        let away = spot.at.0.abs();
        format!("{what} at {at} %{depth}{seen}: {away:.0} % away from right speed, it can stay")
    }
}

/// Leaps too small to matter; `None` without any.
pub fn slight_words(report: &SweepReport) -> Option<String> {
    let places: Vec<String> = report
        .slight_spots
        .iter()
        .take(MOST_SAID)
        .map(|spot| {
            let depth = spot.depth.map_or(0.0, |depth| depth.0.abs());
            format!("{depth:.2} % at {} %", signed(spot.at.0, 1))
        })
        .collect();
    (!places.is_empty()).then(|| {
        format!(
            "Too small to matter, and perhaps the hand: {}.",
            places.join(", ")
        )
    })
}

/// The block under a file's own, each line with its end.
pub fn lines(report: &SweepReport) -> String {
    let mut text = wrapped("  Wiper      ", &headline(report).to_uppercase());
    for spot in report.bad_spots.iter().skip(1).take(MOST_SAID) {
        text.push_str(&wrapped("             ", &spot_words(spot)));
    }
    if report.bad_spots.len() > 1 + MOST_SAID {
        let more = (report.bad_spots.len() - 1 - MOST_SAID) as u64;
        let _ = writeln!(
            text,
            "             and {}",
            counted(more, "more place", "more places")
        );
    }
    text.push_str(&wrapped("             ", &advice(report)));
    if let Some(range) = range_words(report) {
        text.push_str(&wrapped("  Range      ", &range));
    }
    if report.verdict == SweepVerdict::Erratic && report.is_near_end() {
        let also = format!(
            "Right speed is near the end of the travel or beyond it as well: look at {ELSEWHERE} too."
        );
        text.push_str(&wrapped("             ", &also));
    }
    if let Some(words) = slight_words(report) {
        text.push_str(&wrapped("             ", &words));
    }
    if let Some(words) = backlash_words(report) {
        text.push_str(&wrapped("  Backlash   ", &words));
    }
    text.push_str(&picture(report));
    text
}

/// Whether the ways out and back agree; `None` where no place of the track
/// was told on both.
pub fn backlash_words(report: &SweepReport) -> Option<String> {
    let backlash = report.backlash?.0;
    Some(if backlash <= FEIGNED_BACKLASH.0 {
        format!(
            "out and back agree to within {} % of speed",
            FEIGNED_BACKLASH.0
        )
    } else {
        format!("out and back lie about {backlash:.1} % of speed apart")
    })
}

/// The range and where right speed lies in it.
pub fn range_words(report: &SweepReport) -> Option<String> {
    let [low, high] = report.range?;
    let where_right = match report.right_speed_at() {
        Some(at) => format!(
            "right speed at {:.0} % of the travel, with {:.1} % of speed left to the slow and \
             {:.1} % to the fast end",
            at * 100.0,
            low.0.abs(),
            high.0.abs()
        ),
        None if low.0 > 0.0 => format!("right speed lies {:.1} % below it", low.0),
        None => format!("right speed lies {:.1} % above it", -high.0),
    };
    Some(format!(
        "{} to {} %, {} through it; {where_right}",
        signed(low.0, 1),
        signed(high.0, 1),
        counted(report.passes.len() as u64, "way", "ways"),
    ))
}

/// Speed against the sweep, time to the right; bad spots are marked `X`, right
/// speed is the dotted line.
pub fn picture(report: &SweepReport) -> String {
    let speed = &report.picture.speed;
    let known: Vec<f64> = speed.iter().flatten().map(|speed| speed.0).collect();
    if known.len() < 2 {
        return String::new();
    }
    let low = known.iter().copied().fold(f64::INFINITY, f64::min);
    let high = known.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let span = (high - low).max(0.1);
    let row_of = |percent: f64| {
        let from_top = (high - percent) / span * (PICTURE_ROWS - 1) as f64;
        (from_top.round().max(0.0) as usize).min(PICTURE_ROWS - 1)
    };
    let mut cells = vec![[' '; PICTURE_COLUMNS]; PICTURE_ROWS];
    if low <= 0.0 && 0.0 <= high {
        for column in (0..PICTURE_COLUMNS).step_by(2) {
            cells[row_of(0.0)][column] = '·';
        }
    }
    let per_column = speed.len() as f64 / PICTURE_COLUMNS as f64;
    for (at, percent) in speed.iter().enumerate() {
        let column = ((at as f64 + 0.5) / per_column) as usize;
        if let Some(percent) = percent {
            cells[row_of(percent.0)][column.min(PICTURE_COLUMNS - 1)] = '*';
        }
    }
    mark_spots(report, &mut cells, row_of);
    let mut text = String::new();
    for (row, cells) in cells.iter().enumerate() {
        let label = match row {
            0 => signed(high, 1),
            _ if row + 1 == PICTURE_ROWS => signed(low, 1),
            _ => String::new(),
        };
        let line: String = cells.iter().collect();
        let _ = writeln!(text, "  {label:>8}  |{}", line.trim_end());
    }
    text
}

fn mark_spots(
    report: &SweepReport,
    cells: &mut [[char; PICTURE_COLUMNS]],
    row_of: impl Fn(f64) -> usize,
) {
    let speed = &report.picture.speed;
    let lasts = report.picture.step.0 * speed.len() as f64;
    for spot in &report.bad_spots {
        for time in &spot.times {
            let column = (time.0 / lasts * PICTURE_COLUMNS as f64) as usize;
            let row = row_of(spot.at.0);
            cells[row][column.min(PICTURE_COLUMNS - 1)] = 'X';
        }
    }
}

/// What was done to a trimmer between two sweeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Between {
    /// Nobody knows.
    Unknown,
    /// Nothing that anybody knows of.
    Nothing,
    /// It was cleaned, for the so manieth time with a sweep before and after.
    Cleaned(usize),
}

impl Between {
    /// Cleaning has had its chances, and where the trimmer has to stand it is
    /// as bad as before: nothing but another trimmer helps.
    pub fn asks_for_a_new_one(self, newest: &SweepReport) -> bool {
        matches!(self, Self::Cleaned(times) if times >= OFTEN)
            && newest.verdict == SweepVerdict::Erratic
            && !newest.is_bad_elsewhere_only()
    }
}

/// Two sweeps of one trimmer side by side.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Comparison {
    /// What is compared, before, after.
    pub rows: Vec<[String; 3]>,
    /// What it comes to, in one sentence.
    pub sentence: &'static str,
}

impl Comparison {
    /// Puts two sweeps side by side.
    pub fn of(before: &SweepReport, after: &SweepReport, between: Between) -> Self {
        let row = |what: &str, words: fn(&SweepReport) -> String| {
            [what.to_owned(), words(before), words(after)]
        };
        Self {
            rows: vec![
                row("verdict", verdict_word),
                row("bad spots", |report| report.bad_spots.len().to_string()),
                row("worst", |report| {
                    let worst = worst_depth(report);
                    if worst > 0.0 {
                        format!("{worst:.1} %")
                    } else {
                        super::words::NONE.to_owned()
                    }
                }),
                row("range", |report| {
                    report
                        .range
                        .map_or(super::words::NONE.to_owned(), |[low, high]| {
                            let [low, high] = [low.0, high.0].map(|end| signed(end, 1));
                            format!("{low} to {high} %")
                        })
                }),
            ],
            sentence: compared(before, after, between),
        }
    }
}

fn verdict_word(report: &SweepReport) -> String {
    match report.verdict {
        SweepVerdict::Smooth => "smooth",
        SweepVerdict::Erratic => "erratic",
        SweepVerdict::NearEnd => "near the end",
        SweepVerdict::Unclear => "not judged",
    }
    .to_owned()
}

/// How far off the speed is on the worst spot, percent; 0 without any.
fn worst_depth(report: &SweepReport) -> f64 {
    let depths = report.bad_spots.iter().filter_map(|spot| spot.depth);
    depths.map(|depth| depth.0.abs()).fold(0.0, f64::max)
}

/// The worst spot is less deep than this share of what it was. Both depths are
/// the least that a spot has, and vary from sweep to sweep.
const BETTER_SHARE: f64 = 0.5;

/// Who has cleaned so often cleans no more.
const OFTEN: usize = 2;

const WORN: &str = "Cleaned twice, and still bad: the track is worn there. Replace the trimmer, or \
                    leave it to somebody who can.";

fn compared(before: &SweepReport, after: &SweepReport, between: Between) -> &'static str {
    let unclear = |report: &SweepReport| report.verdict == SweepVerdict::Unclear;
    let spots = |report: &SweepReport| report.bad_spots.len();
    if unclear(before) || unclear(after) {
        return "One of the sweeps says nothing; repeat it.";
    }
    if between.asks_for_a_new_one(after) {
        return WORN;
    }
    // A dead place shows in two rounds and hardly in one.
    match [before, after].map(|report| (spots(report) > 0, report.is_one_round())) {
        [(false, true), (true, false)] => {
            return "The other sweep had one round and could not tell as much: what shows now may \
                    have been there.";
        }
        [(true, false), (false, true)] => {
            return "The other sweep had two rounds and this one tells less: sweep two rounds.";
        }
        _ => {}
    }
    if after.verdict == SweepVerdict::NearEnd {
        return "The wiper turns smoothly, but right speed is at the end of its travel: look \
                elsewhere.";
    }
    if between == Between::Unknown {
        return match (spots(before), spots(after)) {
            (0, 0) => "Smooth both times.",
            (_, 0) => "It was bad and is smooth now.",
            (0, _) => "It was smooth and is bad now.",
            _ if after.is_bad_elsewhere_only() => "What is left lies away from right speed.",
            _ => "It is bad both times.",
        };
    }
    if between == Between::Nothing {
        return match (spots(before), spots(after)) {
            (0, 0) => "Smooth both times.",
            (_, 0) => {
                "Smooth this time, though nothing was cleaned: such a fault comes back; clean it."
            }
            (0, _) => {
                "Smooth the time before, though nothing was touched: it comes and goes; clean it."
            }
            _ => "It is as bad as before; nothing was cleaned in between.",
        };
    }
    match (spots(before), spots(after)) {
        (0, 0) => "Smooth before and after.",
        (_, 0) => "Cleaning has cured it.",
        (0, _) => "It was smooth before and is not now; let it dry and repeat the sweep.",
        _ if after.is_bad_elsewhere_only() => "What is left lies away from right speed.",
        (some, left) if left < some || worst_depth(after) < BETTER_SHARE * worst_depth(before) => {
            "Better, but not well: clean it once more."
        }
        _ => "Cleaning has not helped; clean it once more.",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{Direction, Pass};
    use crate::report::sample;
    use crate::units::{Percent, Seconds};

    fn of_rounds(bad: bool, rounds: usize) -> SweepReport {
        let mut report = sample::sweep();
        let pass = Pass {
            from: Seconds(0.0),
            to: Seconds(10.0),
            direction: Direction::Up,
        };
        report.passes = vec![pass; 2 * rounds];
        if !bad {
            report.verdict = SweepVerdict::Smooth;
            report.bad_spots.clear();
        }
        report
    }

    #[test]
    fn one_round_is_called_one_round() {
        let one = of_rounds(false, 1);
        assert_eq!(headline(&one), "smooth as far as one round tells");
        assert!(advice(&one).contains("two rounds") && !advice(&one).contains("go on"));
        let two = of_rounds(false, 2);
        assert_eq!(headline(&two), "smooth");
        assert!(advice(&two).contains("go on"));
    }

    #[test]
    fn cleaning_is_not_blamed_for_what_one_round_could_not_see() {
        let said = |before: (bool, usize), after: (bool, usize)| {
            let [before, after] = [before, after].map(|(bad, rounds)| of_rounds(bad, rounds));
            Comparison::of(&before, &after, Between::Cleaned(1)).sentence
        };
        assert!(said((false, 1), (true, 2)).contains("may have been there"));
        assert!(said((true, 2), (false, 1)).contains("sweep two rounds"));
        assert!(said((false, 2), (true, 2)).contains("smooth before and is not now"));
        assert!(said((true, 1), (false, 2)).contains("cured"));
    }

    #[test]
    fn a_spot_away_from_right_speed_can_stay_and_asks_for_no_new_trimmer() {
        let mut report = of_rounds(true, 2);
        assert!(Between::Cleaned(2).asks_for_a_new_one(&report));
        report.bad_spots[0].at = Percent(4.3);
        assert!(headline(&report).contains("4 % away from right speed, it can stay"));
        assert!(!Between::Cleaned(2).asks_for_a_new_one(&report));
        // Cleaning is no order then, but its caution stands beside it.
        assert!(!advice(&report).contains("repeat the check"));
        assert!(advice(&report).contains("power off"));
    }

    #[test]
    fn a_blind_sweep_is_asked_for_again() {
        let mut report = SweepReport::unclear(Unclear::Blind);
        assert_eq!(headline(&report), "not judged: sweep slower");
        assert!(advice(&report).contains("slowly"));
        report.unclear = Some(Unclear::OneWay);
        assert_eq!(headline(&report), "not judged");
    }
}
