//! The sheet of a job: what its owner is given, and what the next technician
//! wants to know in ten years. First what it says ([`Sheet`]), then how it is
//! laid out ([`Section`]s), then how it is written: a page, Markdown, text, JSON.

mod drawn;
mod html;
mod json;
mod layout;
mod markdown;
mod parts;
mod plainly;
mod text;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::numbers::plain;
use super::pictures::Picture;
use crate::readings::{Along, SweepReport};
use crate::records::{BeforeAfter, Job, Snapshot, pairs};
use crate::references::supply::SupplyPoint;

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
    /// Speed along the tape, with the snapshot whose band holds.
    along: Option<(Along, &'a Snapshot)>,
    /// Speed at several voltages, with the snapshot whose band holds.
    supply: Option<(Vec<SupplyPoint>, &'a Snapshot)>,
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
        let shown = visits.iter().flat_map(|it| it.each()).count();
        let of_places = parts::positioned(&job.snapshots).count();
        let of_supply = supply.as_ref().map_or(0, |(points, _)| points.len());
        Self {
            job,
            file: typed(file, LONGEST_NAME),
            workshop,
            zone,
            wipers: parts::wipers(&job.wipers),
            along,
            others: job
                .snapshots
                .len()
                .saturating_sub(shown + of_places + of_supply),
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

    /// The snapshot whose conditions are told: the newest of the first pair, or
    /// of all.
    fn told_of(&self) -> Option<&'a Snapshot> {
        let of_pair = self
            .turns
            .first()
            .and_then(|it| it.pair.after.or(it.pair.before));
        of_pair.or(self.job.snapshots.last())
    }
}

/// Before and after at one speed and in one direction.
#[derive(Clone, Debug)]
struct Turn<'a> {
    /// What tells it from the others; `None` where nobody said.
    name: Option<String>,
    pair: BeforeAfter<'a>,
}

/// Letters of what somebody typed.
const LONGEST_NAME: usize = 64;

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

/// What somebody typed, in one line of at most this many letters. No letter of
/// it moves a cursor, turns what stands beside it round, or breaks a file.
fn typed(text: &str, most: usize) -> String {
    let mut words = String::new();
    // Longer ones need not be looked at to their end.
    for word in text.split_whitespace().take(most) {
        if !words.is_empty() {
            words.push(' ');
        }
        words.extend(word.chars().take(most + 1).map(harmless));
        if words.len() > 4 * most {
            break;
        }
    }
    super::words::cut(&plain(&words), most)
}

/// Letters that turn the direction of writing, that are none, or that hang on
/// the one before without end, are shown as what cannot be shown.
fn harmless(letter: char) -> char {
    let turns = matches!(letter, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let is_none = u32::from(letter) & 0xfffe == 0xfffe || matches!(letter, '\u{fdd0}'..='\u{fdef}');
    let hangs =
        matches!(letter, '\u{300}'..='\u{36f}' | '\u{1ab0}'..='\u{1aff}' | '\u{20d0}'..='\u{20ff}');
    if turns || is_none || hangs {
        char::REPLACEMENT_CHARACTER
    } else {
        letter
    }
}
