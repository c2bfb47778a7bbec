//! Whether a candidate is the tape's place: listening closely along it, at
//! each scale with the course that the one before has shown.

use super::RATE;
use super::copy::Copy;
use super::course::{Course, fitted};
use super::hearing::{CLOSE, FAR, Hearing, NEAR, Point, Tape, Window};
use super::index::Candidate;
use super::spectra;
use crate::signal::line::Line;

/// Speeds tried besides what pitch says, relative.
const OFF_SPEED: [f64; 2] = [-0.003, 0.003];

/// Candidates that are tried at all of them.
const TRIED_HARD: usize = 2;

/// A line borne out so well far around needs no further looking for. (On
/// music: 0.3 to 0.8 where it is right, 0.03 at most where it is wrong.)
const CLEAR: f64 = 0.15;

/// Less is not worth listening to more closely.
const HOPELESS: f64 = 0.05;

/// Places nearer than this are one.
const SAME_PLACE_S: f64 = 0.05;

/// Looks for the tape among candidates.
pub struct Examiner<'a> {
    hearing: &'a mut Hearing,
    copy: &'a Copy,
    tape: Tape<'a>,
    pitches: Vec<f32>,
    windows: Vec<Window>,
}

/// A place and speed that sound right from afar.
#[derive(Clone, Copy, Debug)]
pub struct Likely {
    /// Place against time.
    pub line: Line,
    /// −1 where the tape is upside down.
    pub sign: f32,
    /// How well it is borne out.
    pub score: f64,
}

impl<'a> Examiner<'a> {
    /// Of a stretch of tape.
    pub fn new(hearing: &'a mut Hearing, copy: &'a Copy, tape: Tape<'a>) -> Self {
        Self {
            windows: hearing.windows(tape, FAR),
            pitches: spectra::pitches(tape.samples),
            hearing,
            copy,
            tape,
        }
    }

    /// The best of all candidates from afar; `None` when none will do.
    pub fn likeliest(&mut self, candidates: &[Candidate]) -> Option<Likely> {
        let mut best: Option<Likely> = None;
        let mut speeds = Vec::new();
        for one in candidates {
            let speed = self.speed_by_pitch(*one);
            speeds.push(speed);
            best = likelier(best, self.afar(*one, speed));
            if best.is_some_and(|best| best.score > CLEAR) {
                return best;
            }
        }
        for (one, speed) in candidates.iter().zip(speeds).take(TRIED_HARD) {
            best = likelier(best, self.afar(*one, one.speed));
            for off in OFF_SPEED {
                best = likelier(best, self.afar(*one, speed * (1.0 + off)));
            }
        }
        best.filter(|best| best.score > HOPELESS)
    }

    /// Speeds of other places that are as likely as the best one, or this
    /// part of it.
    pub fn others(&mut self, candidates: &[Candidate], best: Likely, part: f64) -> Vec<f64> {
        let middle_s = best.line.through[0];
        let mut others = Vec::new();
        for one in candidates.iter().take(TRIED_HARD) {
            let speed = self.speed_by_pitch(*one);
            let Some(other) = self.afar(*one, speed) else {
                continue;
            };
            let apart_s = other.line.at(middle_s) - best.line.at(middle_s);
            if other.score > part * best.score && apart_s.abs() > SAME_PLACE_S {
                others.push(other.line.slope);
            }
        }
        others
    }

    /// A candidate's speed as the pitch of tape and copy says.
    fn speed_by_pitch(&self, candidate: Candidate) -> f64 {
        let mut beside = vec![0.0; self.tape.samples.len()];
        let (from_s, speed) = (candidate.at_copy_s, candidate.speed);
        self.hearing
            .play(&self.copy.samples, from_s, speed, &mut beside);
        speed * spectra::ratio(&self.pitches, &spectra::pitches(&beside))
    }

    /// How a candidate sounds at a speed.
    pub fn afar(&mut self, candidate: Candidate, speed: f64) -> Option<Likely> {
        let half_s = self.tape.samples.len() as f64 / RATE / 2.0;
        let line = Line {
            through: [
                self.tape.from_s + half_s,
                candidate.at_copy_s + candidate.speed * half_s,
            ],
            slope: speed,
        };
        let copy = &self.copy.samples;
        let heard = self
            .hearing
            .both_ways(copy, self.tape, &self.windows, line, FAR);
        let (upright, upside_down): (Vec<Point>, Vec<Point>) =
            heard.into_iter().map(|[up, down]| (up, down)).unzip();
        let of = |points: &[Point], sign: f32| {
            fitted(points, FAR).map(|(line, score)| Likely { line, sign, score })
        };
        likelier(of(&upright, 1.0), of(&upside_down, -1.0))
    }

    /// Listens closely along what is likely.
    pub fn closely(&mut self, likely: Likely) -> Option<(Line, Vec<Point>)> {
        let Likely { line, sign, .. } = likely;
        let copy = &self.copy.samples;
        let near: Vec<Point> = self
            .hearing
            .windows(self.tape, NEAR)
            .iter()
            .filter_map(|window| self.hearing.at(copy, window, line, NEAR, sign))
            .collect();
        let (line, _) = fitted(&near, NEAR)?;
        let course = Course::new(&near, line);
        let mut points = Vec::new();
        for window in self.hearing.windows(self.tape, CLOSE) {
            let along = course.at(window.time_s());
            let Some(mut point) = self.hearing.at(copy, &window, along, CLOSE, sign) else {
                continue;
            };
            point.decoy = self.hearing.decoy(copy, &window, along, CLOSE, sign);
            points.push(point);
        }
        let (line, _) = fitted(&points, CLOSE)?;
        Some((line, points))
    }
}

fn likelier(a: Option<Likely>, b: Option<Likely>) -> Option<Likely> {
    match (a, b) {
        (Some(a), Some(b)) => Some(if b.score > a.score { b } else { a }),
        (a, b) => a.or(b),
    }
}
