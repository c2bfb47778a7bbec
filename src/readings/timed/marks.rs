//! Marks at a known spacing: every one of them counts. Limits are tuned; judged by
//! `--bench references -- marks`.

use super::listening::{Listening, joined, level};
use super::moved::Moved;
use super::scatter::{NEVER_OFF_S, leave_out_strays, lever, residuals, scatter};
use super::summary::{
    FARTHEST, Strength, Timed, deviation, measurement, right_seconds, snr, speed,
};
use crate::readings::caution::{Caution, NoMarks};
use crate::readings::expanded::Expanded;
use crate::readings::found::MarksFigures;
use crate::readings::measurement::Measurement;
use crate::readings::meter::Meter;
use crate::readings::settings::{EngineError, Settings};
use crate::signal::line::Line;
use crate::signal::statistics::{NORMAL_95, median};
use crate::signal::timed::marks::{Heard, Mark, refined, standing_out};
use crate::signal::timed::train::{Member, row};
use crate::units::Seconds;

/// Time between two powers.
const HOP: Seconds = Seconds(0.0005);

/// Of two sounds nearer than this part of the spacing, or than this, the
/// louder is a mark.
const APART: f64 = 0.25;
const APART_S: f64 = 0.15;

/// A row has at least this part of its marks (at half speed every other one
/// seems to be missing, which is 2 of 3 where there are two), no more other sounds as loud
/// than this part, and scatters by no more than this part of its spacing.
const LEAST_FOUND: f64 = 0.67;
const MOST_OTHERS: f64 = 0.3;
const MOST_SCATTER: f64 = 0.01;

/// Others count when they are no fainter than this part of the marks' usual
/// power: −12 dB.
const AS_LOUD: f64 = 0.063;

/// A few loud notes of music can come in a row by chance, many do not: fewer
/// marks than the first stand out of what sounds between them by the second,
/// a power (9 dB). Found with invented music.
const FEW: usize = 8;
const ABOVE_REST: f64 = 8.0;

/// No louder than this power there is nothing but silence: −87 dB.
const NO_SOUND: f32 = 1e-9;

/// Two channels disagree beyond what their ± explains and this.
const CHANNELS_APART: f64 = 5e-4;

/// Measures the speed by marks at a known spacing.
pub struct MarksMeter {
    heard: Listening,
    spacing: Seconds,
}

/// A row that was found.
struct FoundRow {
    /// Numbers and times.
    marks: Vec<[f64; 2]>,
    row: Line,
    noise_s: f64,
    scatter: Expanded,
    power: f64,
    noise: f64,
    left_out: usize,
    moved: Option<Moved>,
}

impl Meter for MarksMeter {
    fn push(&mut self, interleaved: &[f32]) {
        self.heard.push(interleaved);
    }

    fn measurement(&self) -> Measurement {
        match self.find() {
            Ok((found, which)) => self.found(&found, which),
            Err(refusal) => {
                let nothing = Strength::unknown(&self.heard);
                let mut refused = measurement(&self.heard, nothing, None, vec![refusal]);
                refused.marks = Some(self.figures(None));
                refused
            }
        }
    }
}

impl MarksMeter {
    /// For one input format; the marks stand `spacing` apart at right speed.
    ///
    /// Keeps eight bytes a millisecond and channel.
    pub fn new(settings: Settings, spacing: Seconds) -> Result<Self, EngineError> {
        Ok(Self {
            heard: Listening::new(settings, HOP)?,
            spacing,
        })
    }

    fn find(&self) -> Result<(FoundRow, Option<usize>), Caution> {
        let refusal = |no| Caution::NoMarks(no, self.spacing);
        let powers = self.heard.powers();
        let each: Vec<Result<FoundRow, NoMarks>> =
            powers.iter().map(|power| self.row_in(power)).collect();
        if let [Ok(left), Ok(right)] = &each[..] {
            if apart(left, right) {
                let spacings = [left, right].map(|it| Seconds(it.row.slope));
                return Err(Caution::TwoSpacings(spacings));
            }
            let noises = [left, right].map(|it| it.noise.max(1e-6 * it.power));
            let both = joined(&powers, &noises);
            let found = self.row_in(&both).map_err(refusal)?;
            return Ok((found, None));
        }
        let mut refused = NoMarks::Silence;
        for (which, one) in each.into_iter().enumerate() {
            match one {
                Ok(found) => return Ok((found, Some(which))),
                Err(NoMarks::Silence) => {}
                Err(no) => refused = no,
            }
        }
        Err(refusal(refused))
    }

    fn row_in(&self, power: &[f32]) -> Result<FoundRow, NoMarks> {
        let hop_s = self.heard.hop_s();
        let apart_s = (APART * self.spacing.0).min(APART_S);
        let heard = standing_out(power, hop_s, apart_s);
        match heard.marks.len() {
            0 if power.iter().all(|power| *power < NO_SOUND) => return Err(NoMarks::Silence),
            0 => return Err(NoMarks::Nothing),
            1 => return Err(NoMarks::One),
            _ => {}
        }
        let members = row(&heard.marks, self.spacing.0);
        let found = row_of(power, hop_s, &heard, &members);
        found.ok_or(NoMarks::NoRow(heard.marks.len()))
    }

    fn found(&self, found: &FoundRow, which: Option<usize>) -> Measurement {
        let conditions = &self.heard.settings.conditions;
        let measured = Seconds(found.row.slope);
        let timed = Timed {
            measured,
            expected: self.spacing,
            noise_s: found.noise_s,
            wow: found.scatter,
        };
        let off = deviation(measured, self.spacing, conditions);
        let usable = off.0.abs() <= FARTHEST;
        let figures = self.figures(Some(found));
        let mut cautions = Vec::new();
        if !usable {
            cautions.push(Caution::MarksOff(measured, off));
        }
        cautions.extend(
            found
                .moved
                .as_ref()
                .filter(|_| usable)
                .map(|it| self.was_moved(it)),
        );
        let expected = figures.expected;
        let missing = expected - figures.found;
        if usable && missing > 0 {
            cautions.push(Caution::MarksMissing(missing, expected));
        } else if usable && found.left_out > 0 {
            cautions.push(Caution::SoundsLeftOut);
        }
        let strength = Strength {
            channel: self.heard.channel(which),
            // Of both channels the mean, the quieter noise counting more.
            level: Some(level(found.power)),
            snr: snr(found.power, found.noise),
        };
        let told = usable.then(|| speed(&timed, conditions));
        let mut all = measurement(&self.heard, strength, told, cautions);
        all.marks = Some(figures);
        all
    }

    fn figures(&self, found: Option<&FoundRow>) -> MarksFigures {
        let conditions = &self.heard.settings.conditions;
        let last = found.and_then(|it| it.marks.last().zip(it.marks.first()));
        MarksFigures {
            found: found.map_or(0, |it| it.marks.len() as u64),
            expected: last.map_or(0, |(last, first)| (last[0] - first[0]) as u64 + 1),
            spacing: found.map(|it| right_seconds(it.row.slope, conditions)),
            nominal: self.spacing,
        }
    }

    fn was_moved(&self, moved: &Moved) -> Caution {
        let conditions = &self.heard.settings.conditions;
        let of = |row: &Line| deviation(Seconds(row.slope), self.spacing, conditions);
        Caution::MovedBetween(
            [&moved.before, &moved.after].map(of),
            Some(Seconds(moved.at_s)),
        )
    }
}

/// The row that these marks make; `None` where it cannot be believed.
fn row_of(power: &[f32], hop_s: f64, heard: &Heard, members: &[Member]) -> Option<FoundRow> {
    if members.len() < 2 {
        return None;
    }
    let marks: Vec<Mark> = members.iter().map(|it| heard.marks[it.which]).collect();
    let (times, jitter_s) = refined(power, hop_s, heard.noise, &marks);
    let mut placed: Vec<[f64; 2]> = members
        .iter()
        .zip(times)
        .map(|(it, time)| [it.number as f64, time])
        .collect();
    let moved = Moved::of(&placed);
    if let Some(moved) = &moved {
        placed.clone_from(&moved.marks);
    } else {
        leave_out_strays(&mut placed);
    }
    let row = Line::fitted(placed.iter().copied())?;
    let mut loud: Vec<f64> = marks.iter().map(|mark| mark.power).collect();
    let off = match &moved {
        Some(moved) => moved.off.clone(),
        None => residuals(&placed, &row),
    };
    let found = FoundRow {
        noise_s: NORMAL_95 * jitter_s / lever(&placed),
        scatter: scatter(&placed, &row),
        power: median(&mut loud).unwrap_or(0.0),
        noise: heard.noise,
        left_out: marks.len() - placed.len(),
        marks: placed,
        row,
        moved,
    };
    believable(&found, &off, heard, hop_s).then_some(found)
}

/// Whether it is a row of marks and no chance among other sounds.
fn believable(found: &FoundRow, off: &[f64], heard: &Heard, hop_s: f64) -> bool {
    let count = found.marks.len();
    let [first, last] = [found.marks[0][0] - 0.5, found.marks[count - 1][0] + 0.5];
    let span = last - first;
    let [first_s, last_s] = [first, last].map(|number| found.row.at(number));
    let others = heard
        .marks
        .iter()
        .filter(|mark| mark.power > AS_LOUD * found.power)
        .filter(|mark| (first_s..last_s).contains(&mark.at_s))
        .count()
        .saturating_sub(count);
    let square: f64 = off.iter().map(|off| off * off).sum();
    let scatter = (square / count as f64).sqrt();
    // Marks are places of the envelope: none are nearer than that is fine.
    found.row.slope >= hop_s
        && (count >= FEW || found.power > ABOVE_REST * found.noise)
        && count as f64 >= LEAST_FOUND * span
        && others as f64 <= MOST_OTHERS * count as f64
        && scatter <= (MOST_SCATTER * found.row.slope).max(NEVER_OFF_S)
}

fn apart(left: &FoundRow, right: &FoundRow) -> bool {
    let known = |it: &FoundRow| (it.noise_s + it.scatter.half_width) / it.row.slope;
    let apart = (left.row.slope / right.row.slope - 1.0).abs();
    apart > known(left) + known(right) + CHANNELS_APART
}
