//! The sheet of a job: what its owner is given, and what the next technician
//! wants to know in ten years. First what it says ([`Sheet`]), then how it is
//! laid out (sections), then how it is written: a page, Markdown, text, JSON.

mod drawn;
mod html;
mod json;
mod layout;
mod markdown;
mod measured;
mod parts;
mod plainly;
mod text;
mod visits;

use std::collections::HashSet;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use unicode_width::UnicodeWidthChar;

use super::comparison::tolerance;
use super::numbers::plain;
use super::pictures::Picture;
use super::words::MOST_MARKS;
use crate::readings::SweepReport;
use crate::records::{BeforeAfter, Job, Label, Snapshot, pairs};
use crate::references::Tolerance;

pub use html::{MADE_BY_US as HTML_BEGINS, html};
pub use json::{SCHEMA, json};
pub use markdown::{BEGINS as MARKDOWN_BEGINS, markdown};
pub use text::{BEGINS as TEXT_BEGINS, text};

/// What stands on a sheet.
#[derive(Clone, Debug)]
pub struct Sheet<'a> {
    job: &'a Job,
    /// Name of the job's file.
    file: String,
    /// Who made it, for its head.
    workshop: Option<&'a str>,
    /// Times are shown in it.
    zone: &'a TimeZone,
    /// A before and an after for each speed and direction.
    turns: Vec<Turn<'a>>,
    /// Their other visits, which are told in words.
    again: Vec<Turn<'a>>,
    /// The first and the last check of the wiper that say something; one where
    /// there are no two.
    wipers: Vec<(Timestamp, &'a SweepReport)>,
    /// Speed along the tape.
    along: Option<parts::AlongTape<'a>>,
    /// Speed at several voltages.
    supply: Option<parts::AtVoltages<'a>>,
    /// Measurements that are only counted.
    others: usize,
}

impl<'a> Sheet<'a> {
    /// The sheet of a job that lies in a file of this name.
    pub fn of(job: &'a Job, file: &str, workshop: Option<&'a str>, zone: &'a TimeZone) -> Self {
        let visits = pairs(&job.snapshots);
        let (pairs, again) = parts::shown_and_others(&visits);
        let along = parts::along(&job.snapshots, &pairs);
        let supply = parts::supply(&job.snapshots);
        let of_places = along.iter().flat_map(|it| it.shown.iter().copied());
        let of_supply = supply.iter().flat_map(|it| it.shown.iter().copied());
        let of_work = visits.iter().flat_map(|it| it.each());
        let shown = of_work.chain(of_places).chain(of_supply);
        let shown: HashSet<&str> = shown.map(|it| it.id.as_str()).collect();
        let is_other = |it: &&Snapshot| !shown.contains(it.id.as_str());
        Self {
            job,
            file: typed(file, LONGEST_NAME),
            workshop,
            zone,
            wipers: parts::wipers(&job.wipers),
            along,
            others: job.snapshots.iter().filter(is_other).count(),
            supply,
            turns: parts::turns(&pairs, &visits),
            again: parts::turns(&again, &visits),
        }
    }

    /// All pictures on it.
    pub fn pictures(&self) -> Vec<Picture> {
        drawn::pictures(self)
    }

    fn time(&self, at: Timestamp) -> String {
        let zoned = at.to_zoned_datetime(self.zone.clone());
        zoned.strftime("%Y-%m-%d %H:%M").to_string()
    }

    /// When it was taken, and that the work had not ended then where its after
    /// was kept later.
    fn when(&self, of: &Snapshot) -> String {
        let is_later = |it: &&Snapshot| it.taken_at > of.taken_at && it.is_alike(of);
        let of_work = |it: &&Snapshot| !matches!(it.label, Label::Named(_));
        let mut later = self.job.snapshots.iter().filter(is_later);
        let time = self.time(of.taken_at);
        match later.find(of_work).map(|it| &it.label) {
            Some(Label::After) => format!("{time}, in front of the after"),
            _ => time,
        }
    }
}

/// Before and after at one speed and in one direction.
#[derive(Clone, Debug)]
struct Turn<'a> {
    /// What tells it from the others; `None` where nobody said.
    name: Option<String>,
    pair: BeforeAfter<'a>,
}

impl Turn<'_> {
    /// What counts as right for both: the band in force at the end.
    fn band(&self) -> Tolerance {
        self.pair.each().last().map(tolerance).unwrap_or_default()
    }
}

/// Letters of what somebody typed.
const LONGEST_NAME: usize = 64;
const LONGEST_DETAIL: usize = 40;
const LONGEST_NOTE: usize = 220;

/// A part of the sheet under a head of its own.
#[derive(Clone, Debug)]
struct Section {
    title: String,
    blocks: Vec<Block>,
}

impl Section {
    /// Facts and a table, which stand beside each other on paper.
    fn is_of_two(&self) -> bool {
        matches!(self.blocks[..], [Block::Facts(_), Block::Table(..)])
    }
}

fn section(title: &str, blocks: Vec<Block>) -> Section {
    Section {
        title: title.to_owned(),
        blocks,
    }
}

/// What a section is made of.
#[derive(Clone, Debug)]
enum Block {
    /// What, and what it is.
    Facts(Vec<[String; 2]>),
    /// A row of heads, then the rows.
    Table(Vec<String>, Vec<Vec<String>>),
    /// The two sentences that matter most.
    Lead(Vec<[String; 2]>),
    /// One point each.
    Points(Vec<String>),
    Pictures(Vec<Picture>),
}

/// What somebody typed, in one line of at most this many letters. None of them
/// does harm.
fn typed(text: &str, most: usize) -> String {
    let mut words = String::new();
    // Longer ones need not be looked at to their end.
    for word in text.split_whitespace().take(most) {
        if !words.is_empty() {
            words.push(' ');
        }
        words.extend(without_heaps(word.chars()).take(most + 1));
        if words.len() > 4 * most {
            break;
        }
    }
    super::words::cut(&plain(&words), most)
}

/// No more marks on a letter than a writing has, lest they reach the lines above.
fn without_heaps(letters: impl Iterator<Item = char>) -> impl Iterator<Item = char> {
    let mut on_one = 0;
    letters.filter(move |letter| {
        let hangs = letter.width() == Some(0);
        on_one = if hangs { on_one + 1 } else { 1 };
        on_one <= MOST_MARKS
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_stays_as_it_is_but_for_what_does_harm() {
        for (said, shown) in [
            ("Gera\u{308}t  4", "Gera\u{308}t 4"),
            ("e\u{323}\u{302}", "e\u{323}\u{302}"),
            ("a\u{202e}b\u{1b}", "a\\u202eb\\u001b"),
            ("\u{5e9}\u{5c1}\u{5b8}", "\u{5e9}\u{5c1}\u{5b8}"),
        ] {
            assert_eq!(typed(said, LONGEST_NAME), shown);
        }
        let heap = format!("z{}y", "\u{300}".repeat(30));
        let shown = typed(&heap, LONGEST_NAME);
        assert!(
            shown.ends_with('y') && shown.chars().count() <= MOST_MARKS + 1,
            "{shown}"
        );
    }
}
