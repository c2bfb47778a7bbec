//! What a reference tape is made of, one thing after the other, and its list.

use std::fmt::Write as _;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::cli::ToneOptions;
use super::{Exit, Failure};
use crate::signal::ident::{Ident, IdentBurst};
use crate::signal::programme::Programme;
use crate::signal::timed::bursts::Bursts;
use crate::signal::tone::{Sound, Tone};
use crate::units::{Decibels, Hertz, Seconds};

/// Tones for the level: far below the treble that azimuth and a dirty head
/// change, at any speed. The other where the reference itself lies near.
const LEVEL_HZ: [f64; 2] = [400.0, 1000.0];

const LEVEL_S: f64 = 20.0;
const GAP_S: f64 = 1.0;
const SILENCE_S: f64 = 10.0;
/// One beep left, two right, and the pauses between them.
const LEFT_BEEP_S: f64 = 1.0;
const RIGHT_BEEP_S: f64 = 0.4;
const BEEP_GAPS_S: [f64; 2] = [0.5, 0.2];
const MARKS_SPACING_S: f64 = 1.0;
/// Room for 60 spacings and silence at both ends.
const MARKS_S: f64 = 61.02;
const FADE_S: f64 = 0.010;

/// A programme with its list.
pub(super) struct Planned {
    pub(super) sound: Programme,
    tracks: Vec<Track>,
    rate_hz: f64,
}

struct Track {
    start: Seconds,
    name: &'static str,
    words: String,
}

/// What the tape says of itself: the machine that was named, today.
pub(super) fn ident(options: &ToneOptions) -> Result<Ident, Failure> {
    let today = Timestamp::now()
        .to_zoned_datetime(TimeZone::system())
        .date();
    let machine = options.machine.as_deref().unwrap_or_default();
    Ident::new(machine, today, options.frequency())
        .map_err(|error| Failure::new(Exit::Usage, format!("no ident can be made: {error}")))
}

/// The whole of it at a rate.
pub(super) fn plan(options: &ToneOptions, ident: &Ident, rate_hz: f64) -> Planned {
    let amplitude = Decibels(options.level).amplitude_ratio();
    let tone = |hz: f64, seconds: f64| {
        let samples = |seconds: f64| (seconds * rate_hz).round() as u64;
        Tone::new(hz, rate_hz, amplitude, samples(seconds), samples(FADE_S))
    };
    let reference = options.frequency();
    let level_hz = level_hz(reference);
    let mut planned = Planned {
        sound: Programme::default(),
        tracks: Vec::new(),
        rate_hz,
    };
    let of_tone = |hz: Hertz, seconds: f64| format!("{hz} at {} dBFS, {seconds} s", options.level);
    planned.begin(
        "level",
        for_what(&of_tone(Hertz(level_hz), LEVEL_S), "set the input gain"),
    );
    planned.add(tone(level_hz, LEVEL_S), GAP_S);
    planned.add_ident(ident, amplitude);
    if !options.mono {
        planned.begin(
            "sides",
            for_what(
                "left one beep, right two",
                "are the channels the right way round?",
            ),
        );
        let [between, within] = BEEP_GAPS_S;
        planned.add_in(0, tone(level_hz, LEFT_BEEP_S), between);
        planned.add_in(1, tone(level_hz, RIGHT_BEEP_S), within);
        planned.add_in(1, tone(level_hz, RIGHT_BEEP_S), GAP_S);
    }
    planned.begin(
        "tone",
        for_what(
            &of_tone(reference, options.seconds),
            "speed, drift, wow and flutter",
        ),
    );
    planned.add(tone(reference.0, options.seconds), GAP_S);
    let length = (MARKS_S * rate_hz).round() as u64;
    let marks = Bursts::new(MARKS_SPACING_S, rate_hz, amplitude, length);
    let words = format!("{}, {MARKS_SPACING_S} s apart", marks.count());
    planned.begin("marks", for_what(&words, "speed by --reference marks:1"));
    planned.add(marks, 0.0);
    planned.begin(
        "silence",
        for_what(&format!("{SILENCE_S} s"), "hear hum and hiss"),
    );
    planned.pause(SILENCE_S);
    planned.add_ident(ident, amplitude);
    planned.begin(
        "tone again",
        for_what(
            &of_tone(reference, options.seconds),
            "the same at another place of the tape",
        ),
    );
    planned.add(tone(reference.0, options.seconds), GAP_S);
    planned.begin("end", String::new());
    planned
}

/// What a part is, and what it is for.
fn for_what(words: &str, purpose: &str) -> String {
    format!("{words}: {purpose}")
}

/// The tone for the level that lies further from the reference.
fn level_hz(reference: Hertz) -> f64 {
    let [low, high] = LEVEL_HZ;
    if reference.0 < (low * high).sqrt() {
        high
    } else {
        low
    }
}

impl Planned {
    fn begin(&mut self, name: &'static str, words: String) {
        self.tracks.push(Track {
            start: Seconds(self.sound.length() as f64 / self.rate_hz),
            name,
            words,
        });
    }

    fn add(&mut self, sound: impl Sound + Send + 'static, gap_s: f64) {
        self.sound.add(sound, None);
        self.pause(gap_s);
    }

    fn add_in(&mut self, channel: usize, sound: impl Sound + Send + 'static, gap_s: f64) {
        self.sound.add(sound, Some(channel));
        self.pause(gap_s);
    }

    fn add_ident(&mut self, ident: &Ident, amplitude: f64) {
        let words = format!(
            "\"{}\", {}, {}",
            ident.machine(),
            ident.date(),
            ident.nominal()
        );
        self.begin("ident", for_what(&words, "says where it was recorded"));
        self.add(IdentBurst::new(ident, self.rate_hz, amplitude), GAP_S);
    }

    fn pause(&mut self, seconds: f64) {
        self.sound.pause((seconds * self.rate_hz).round() as u64);
    }

    /// The list, a line each.
    pub(super) fn list(&self) -> String {
        let mut text = String::new();
        for Track { start, name, words } in &self.tracks {
            let whole = start.0.round() as u64;
            let line = format!("  {:>3}:{:02}  {name:<11}{words}", whole / 60, whole % 60);
            let _ = writeln!(text, "{}", line.trim_end());
        }
        text
    }

    /// What sounds at a time, with the time.
    pub(super) fn names(&self) -> Vec<(Seconds, &'static str)> {
        let name = |track: &Track| (track.start, track.name);
        self.tracks.iter().map(name).collect()
    }
}

/// What sounds at a time.
pub(super) fn name_at(names: &[(Seconds, &'static str)], time: Seconds) -> &'static str {
    let begun = names.iter().take_while(|(start, _)| *start <= time);
    begun.last().map_or("", |(_, name)| name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_level_is_never_taken_for_the_reference() {
        for hz in [100.0, 315.0, 400.0, 440.0, 1000.0, 3150.0, 10_000.0] {
            let ratio = level_hz(Hertz(hz)) / hz;
            // Beyond any speed error that is followed.
            assert!(!(0.7..=1.4).contains(&ratio), "{hz}: {ratio}");
        }
    }

    #[test]
    fn what_sounds_is_named() {
        let names = [(Seconds(0.0), "level"), (Seconds(21.0), "ident")];
        assert_eq!(name_at(&names, Seconds(20.9)), "level");
        assert_eq!(name_at(&names, Seconds(21.0)), "ident");
        assert_eq!(name_at(&[], Seconds(1.0)), "");
    }
}
