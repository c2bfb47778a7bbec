//! The contact check in words: verdict, each channel, where in the movement
//! the faults come, and two runs side by side.

use std::fmt::Write as _;

use super::numbers::tenths;
use super::words::{CLEANING, counted, wrapped};
use crate::readings::contact::{
    ContactChannel, ContactReport, ContactTrack, ContactVerdict, MARK_DB, MARKS,
};
use crate::units::Decibels;

/// Breaks that are said one by one.
const MOST_SAID: usize = 6;

/// The verdict in a few words.
pub fn headline(report: &ContactReport) -> &'static str {
    match report.verdict() {
        ContactVerdict::NoSignal => "too little sound to judge",
        ContactVerdict::OneIsSilent(ContactTrack::Left) => "the left channel is silent",
        ContactVerdict::OneIsSilent(_) => "the right channel is silent",
        ContactVerdict::Clean if report.passes == 0 => "nothing heard, but hardly moved",
        ContactVerdict::Clean => "clean",
        ContactVerdict::Crackles => "crackles",
        ContactVerdict::OneDropsOut(ContactTrack::Left) => "the left channel drops out",
        ContactVerdict::OneDropsOut(_) => "the right channel drops out",
        ContactVerdict::DropsOut => "drops out",
    }
}

/// What it means and what to do next.
pub fn advice(report: &ContactReport) -> String {
    let mut advice = of_the_verdict(report).to_owned();
    // A balance control fades; it does not break off.
    if report.gone().is_some_and(|it| it.break_count == 0) {
        advice.push_str(
            " A balance control takes a channel away by itself: leave it alone meanwhile.",
        );
    }
    let is_silent = matches!(report.verdict(), ContactVerdict::OneIsSilent(_));
    if is_silent && report.channels.iter().any(ContactChannel::is_bad) {
        advice.push_str(" The other one is not clean. ");
        advice.push_str(CLEANING);
    }
    advice
}

fn of_the_verdict(report: &ContactReport) -> &'static str {
    match report.verdict() {
        ContactVerdict::NoSignal => {
            "Play a tone or music and work the control through its range while it plays."
        }
        ContactVerdict::OneIsSilent(_) => {
            "Is only one channel played or plugged in? If both are, contact, cable or head of that \
             one is open: work the control and the switches, then look along its way."
        }
        ContactVerdict::Clean if report.passes == 0 => {
            "Work the control through its range and back, or the \
             switch several times."
        }
        ContactVerdict::Clean => "Nothing to be heard of its contacts.",
        ContactVerdict::Crackles | ContactVerdict::OneDropsOut(_) | ContactVerdict::DropsOut => {
            CLEANING
        }
    }
}

/// A channel's name.
pub fn track(track: ContactTrack) -> &'static str {
    match track {
        ContactTrack::Mono => "Mono",
        ContactTrack::Left => "Left",
        ContactTrack::Right => "Right",
    }
}

/// One letter for each step along the movement, the lowest level first: `X`
/// a break, `*` a crackle, `-` neither.
pub fn marks(channel: &ContactChannel) -> String {
    let (breaks, crackles) = (channel.break_marks(), channel.crackle_marks());
    (0..MARKS)
        .rev()
        .map(|step| match (breaks[step], crackles[step]) {
            (0, 0) => '-',
            (0, _) => '*',
            _ => 'X',
        })
        .collect()
}

/// The block under a file's own, each line with its end.
pub fn lines(report: &ContactReport) -> String {
    let mut text = wrapped("  Contact    ", &headline(report).to_uppercase());
    text.push_str(&wrapped("             ", &advice(report)));
    for channel in &report.channels {
        text.push_str(&channel_lines(channel));
    }
    if report.channels.iter().any(ContactChannel::is_bad) {
        let legend =
            format!("lowest level left, highest right, a step is {MARK_DB} dB: X break, * crackle");
        text.push_str(&wrapped("             ", &legend));
    }
    if let Some(tracking) = report.tracking {
        let words = format!(
            "left and right differ by up to {} dB along the movement; with music its own \
             balance is in that",
            tenths(tracking.0)
        );
        text.push_str(&wrapped("  Tracking   ", &words));
    } else if report.channels.len() > 1 && report.passes > 0 {
        let words = "not told; left and right did not move together, or for too short a time";
        text.push_str(&wrapped("  Tracking   ", words));
    }
    text
}

fn channel_lines(channel: &ContactChannel) -> String {
    let level = channel
        .level
        .map_or(String::from("no sound"), |[low, high]| {
            format!("{} to {} dBFS", tenths(low.0), tenths(high.0))
        });
    let words = format!(
        "{level}, {}, {}",
        counted(channel.crackles, "crackle", "crackles"),
        counted(channel.break_count, "break", "breaks")
    );
    let mut text = wrapped(&format!("  {:<11}", track(channel.track)), &words);
    if channel.is_gone() {
        let words = format!("gone for {:.1} s while the other played", channel.gone.0);
        text.push_str(&wrapped("             ", &words));
    }
    if channel.is_bad() {
        let _ = writeln!(text, "             {}", marks(channel));
    }
    for it in channel.breaks.iter().take(MOST_SAID) {
        let _ = writeln!(
            text,
            "             break at {:.2} s, {} ms long, {} dB deep, level {:.0} dBFS",
            it.start.0,
            tenths(it.length.0 * 1000.0),
            tenths(it.depth.0),
            it.level.0
        );
    }
    let more = channel.break_count.saturating_sub(MOST_SAID as u64);
    if more > 0 {
        let _ = writeln!(text, "             and {}", counted(more, "more", "more"));
    }
    text
}

/// Two runs side by side: what, before, after.
pub fn compared(before: &ContactReport, after: &ContactReport) -> Vec<[String; 3]> {
    let row =
        |what: &str, of: fn(&ContactReport) -> String| [what.to_owned(), of(before), of(after)];
    vec![
        row("verdict", |it| headline(it).to_owned()),
        row("highest level", |it| {
            it.highest().map_or("–".to_owned(), |level| {
                format!("{} dBFS", tenths(level.0))
            })
        }),
        row("crackles a sweep", |it| tenths(it.crackles_per_sweep())),
        row("breaks a sweep", |it| tenths(it.breaks_per_sweep())),
        row("lost a sweep", |it| {
            format!("{:.3} s", it.lost_per_sweep().0)
        }),
        row("tracking", |it| {
            it.tracking
                .map_or("–".to_owned(), |it| format!("{} dB", tenths(it.0)))
        }),
    ]
}

/// Two runs side by side as a table, before and after cleaning.
pub fn comparison(before: &ContactReport, after: &ContactReport) -> String {
    let mut text = String::from("Before and after\n");
    for [what, before, after] in compared(before, after) {
        let line = format!("  {what:<20}{before:<28}{after}");
        text.push_str(line.trim_end());
        text.push('\n');
    }
    if let Some(gained) = gained(before, after) {
        let _ = writeln!(text, "  level gained        {gained}");
    }
    text
}

/// How much higher the highest level of each channel is than before.
pub fn gained(before: &ContactReport, after: &ContactReport) -> Option<String> {
    let gain = |before: Decibels, after: Decibels| {
        let gain = after.0 - before.0;
        let sign = if gain < 0.0 { "" } else { "+" };
        format!("{sign}{} dB", tenths(gain))
    };
    let high = |it: &ContactChannel| it.level.map(|[_, high]| high);
    let same = before.channels.len() == after.channels.len();
    if !same || before.channels.len() == 1 {
        return Some(gain(before.highest()?, after.highest()?));
    }
    let pairs = before.channels.iter().zip(&after.channels);
    let words = pairs.map(|(before, after)| {
        let name = track(after.track).to_lowercase();
        Some(format!("{name} {}", gain(high(before)?, high(after)?)))
    });
    Some(words.collect::<Option<Vec<_>>>()?.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::contact::ContactBreak;
    use crate::units::Seconds;

    fn channel(track: ContactTrack, breaks: usize) -> ContactChannel {
        let it = ContactBreak {
            start: Seconds(3.21),
            length: Seconds(0.005),
            depth: Decibels(6.2),
            level: Decibels(-30.0),
        };
        ContactChannel {
            track,
            now: Some(Decibels(-12.0)),
            level: Some([Decibels(-50.0), Decibels(-12.0)]),
            gone: Seconds(0.0),
            crackles: 1,
            break_count: breaks as u64,
            breaks: vec![it; breaks],
            crackle_places: vec![(Seconds(1.0), Decibels(-12.5))],
        }
    }

    fn report(breaks: usize) -> ContactReport {
        ContactReport {
            duration: Seconds(10.0),
            channels: vec![
                channel(ContactTrack::Left, breaks),
                channel(ContactTrack::Right, 0),
            ],
            tracking: Some(Decibels(1.4)),
            passes: 2,
        }
    }

    #[test]
    fn one_channel_that_drops_out_is_named_and_placed() {
        let text = lines(&report(9));
        assert!(text.contains("THE LEFT CHANNEL DROPS OUT"), "{text}");
        assert!(
            text.contains("break at 3.21 s, 5.0 ms long, 6.2 dB deep"),
            "{text}"
        );
        assert!(text.contains("and 3 more"), "{text}");
        // 18 dB below the highest level is the seventh step from the right.
        assert!(text.contains("-------------X-----*"), "{text}");
        assert!(
            text.lines().all(|line| line.chars().count() <= 80),
            "{text}"
        );
    }

    #[test]
    fn a_channel_that_is_silent_or_gone_is_named() {
        let mut it = report(0);
        it.channels[1].gone = Seconds(2.3);
        let text = lines(&it);
        assert!(text.contains("THE RIGHT CHANNEL DROPS OUT"), "{text}");
        assert!(text.contains("gone for 2.3 s"), "{text}");
        it.channels[1].level = Some([Decibels(-99.0), Decibels(-90.0)]);
        assert!(lines(&it).contains("THE RIGHT CHANNEL IS SILENT"));
    }

    #[test]
    fn two_runs_stand_side_by_side() {
        let text = comparison(&report(2), &report(0));
        assert!(text.contains("crackles a sweep    2.0"), "{text}");
        assert!(text.contains("breaks a sweep      2.0"), "{text}");
        assert!(text.contains("lost a sweep        0.010 s"), "{text}");
        let gained = "level gained        left +0.0 dB, right +0.0 dB";
        assert!(text.contains(gained), "{text}");
        let mut low = report(2);
        low.channels[0].level = Some([Decibels(-50.0), Decibels(-15.25)]);
        let text = comparison(&low, &report(0));
        assert!(text.contains("left +3.3 dB, right +0.0 dB"), "{text}");
    }
}
