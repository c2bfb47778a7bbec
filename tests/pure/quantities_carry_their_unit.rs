//! Percent and hertz cannot be taken for each other: what one floor gives to
//! another is a quantity with its unit in its type, or has it in its name.
//!
//! This test reads the sources as tokens. Of every type that a floor shows the
//! others it looks at the public fields and at what the public functions take
//! and give: where that is a bare `f32` or `f64`, a word of its name must be a
//! unit, or the name must stand below with a reason.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use crate::support::rust_tokens::{Token, is, paths, rust_files, tokens};

/// Floors that know no clock and no file, and that of records. What the floor of
/// pure mathematics takes and gives are samples and numbers.
const FLOORS: [&str; 5] = ["units.rs", "readings", "references", "rehearsal", "records"];

/// Words in a name that say the unit.
const UNITS: [&str; 22] = [
    "hz", "s", "ms", "us", "seconds", "second", "minute", "db", "dbfs", "percent", "ppm", "cents",
    "turns", "turn", "volts", "volt", "mm", "um", "m", "cm", "v", "samples",
];

/// What has no unit, by why, each with the type or the function that it belongs to.
const BARE: [(&str, &[&str]); 6] = [
    (
        "samples or a spectrum, full scale being 1",
        &[
            "Control::interleaved",
            "Copy::mono",
            "CopyBuilder::interleaved",
            "Engine::interleaved",
            "FlutterLines::spectrum",
            "IdentListener::channels",
            "Matcher::mono",
            "SimulatedMachine::interleaved",
            "TuningMeter::interleaved",
        ],
    ),
    (
        "a part of something of its own kind, or how many times it is that",
        &[
            "BandEvidence::share",
            "Decibels::amplitude_ratio",
            "Decibels::ratio",
            "Evidence::times_usual",
            "Expanded::factor",
            "FlutterLine::weighted_share",
            "FlutterLines::no_line_fast",
            "FlutterLines::no_line_slow",
            "FlutterModel::factor",
            "Part::ratio",
            "Percent::ratio",
            "SpeedFound::noise",
            "SpeedFound::ratio",
            "SweepReport::right_speed_at",
            "SweepingConfig::unevenness",
        ],
    ),
    (
        "a place on a travel or on a tape, 0 to 1, or a part of it",
        &[
            "Control::dirt",
            "Control::position",
            "ControlConfig::dirt_between",
            "Expanded::half_width",
            "Fingers::by",
            "Fingers::position",
            "Pack::passed",
            "SimulatedMachine::by",
            "SimulatedMachine::position",
            "SimulatedMachine::trimmer",
            "SimulatedMachine::wiper_dirt",
            "SweepingConfig::ends",
            "SweepingConfig::tremble",
            "SweepingHand::position_at",
            "SweepingHand::start",
            "TrimmerConfig::dead",
            "TrimmerConfig::position",
            "WiperConfig::half_width",
            "WiperConfig::reach",
            "WiperConfig::rested_at",
        ],
    ),
    (
        "a number of statistics",
        &[
            "BandEvidence::correlation",
            "BandEvidence::decoy",
            "Expanded::freedom",
            "Expanded::told_freedom",
            "Likely::score",
            "Likely::sign",
            "LikelyPart::likelihood",
            "Place::freedom",
            "SweepReport::evidence",
            "UncertaintyParts::wow_freedom",
        ],
    ),
    (
        "a bare number of a formula that stands beside it",
        &[
            "ControlConfig::taper",
            "Hunting::quality",
            "NoteFigures::stiffness",
            "TrimmerConfig::bow",
        ],
    ),
    (
        "of any quantity whose name says its unit, or a count",
        &[
            "ContactReport::breaks_per_sweep",
            "ContactReport::crackles_per_sweep",
            "ContactReport::sweeps",
            "Expanded::standard",
            "Track::flutter",
            "Track::readings",
            "Track::speed",
            "Track::speeds",
            "stability::means",
        ],
    ),
];

/// Tokens of a file up to its tests.
fn source(path: &Path) -> Vec<Token> {
    let all = tokens(&fs::read_to_string(path).unwrap());
    let is_test = |at: &usize| is(&all, *at, "cfg") && is(&all, at + 2, "test");
    let end = (0..all.len()).find(is_test).unwrap_or(all.len());
    all[..end].to_vec()
}

/// One past the bracket that closes the one at a place.
fn end_of_group(tokens: &[Token], open: usize) -> usize {
    let mut depth = 0;
    for (at, token) in tokens.iter().enumerate().skip(open) {
        match token.text.as_str() {
            "(" | "[" | "{" => depth += 1,
            ")" | "]" | "}" => depth -= 1,
            _ => {}
        }
        if depth == 0 {
            return at + 1;
        }
    }
    tokens.len()
}

/// Parts of a list between brackets, parted by commas outside all brackets.
fn parts(tokens: &[Token]) -> Vec<&[Token]> {
    let (mut parts, mut depth, mut from) = (Vec::new(), 0, 0);
    for (at, token) in tokens.iter().enumerate() {
        match token.text.as_str() {
            "(" | "[" | "{" | "<" => depth += 1,
            ")" | "]" | "}" => depth -= 1,
            // That of an arrow closes nothing.
            ">" if at > 0 && tokens[at - 1].text != "-" => depth -= 1,
            "," if depth == 0 => {
                parts.push(&tokens[from..at]);
                from = at + 1;
            }
            _ => {}
        }
    }
    parts.push(&tokens[from..]);
    parts.retain(|part| !part.is_empty());
    parts
}

/// A bare number stands in the type.
fn is_bare(tokens: &[Token]) -> bool {
    tokens
        .iter()
        .any(|it| ["f32", "f64"].contains(&it.text.as_str()))
}

fn says_its_unit(found: &Found) -> bool {
    found.name.split('_').any(|word| UNITS.contains(&word))
        || BARE.iter().any(|(_, all)| all.contains(&&*found.full()))
}

/// A bare quantity and where it stands.
struct Found {
    name: String,
    /// The type, or the function that belongs to none.
    owner: String,
    what: String,
    line: usize,
}

impl Found {
    fn full(&self) -> String {
        format!("{}::{}", self.owner, self.name)
    }
}

/// Name and type of a field or of what a function takes.
fn named(part: &[Token], found: &mut Vec<Found>, owner: &str, what: &str) {
    let mut part = part;
    while is(part, 0, "#") {
        part = &part[end_of_group(part, 1)..];
    }
    let Some(colon) = part.iter().position(|it| it.text == ":") else {
        return;
    };
    if !is_bare(&part[colon..]) {
        return;
    }
    // Of a pattern every name.
    let is_name = |it: &&Token| it.text.starts_with(|c: char| c.is_alphabetic());
    let names = part[..colon].iter().filter(is_name);
    let names = names.filter(|it| !["pub", "mut", "crate", "super"].contains(&it.text.as_str()));
    found.extend(names.map(|name| Found {
        name: name.text.clone(),
        owner: owner.to_owned(),
        what: what.to_owned(),
        line: name.line,
    }));
}

/// Public fields of a struct whose body begins here.
fn fields(tokens: &[Token], open: usize, owner: &str, found: &mut Vec<Found>) {
    for part in parts(&tokens[open + 1..end_of_group(tokens, open) - 1]) {
        if part.iter().any(|it| it.text == "pub") {
            named(part, found, owner, &format!("field of {owner}"));
        }
    }
}

/// What a function that is named here takes and gives.
fn function(tokens: &[Token], name: usize, owner: &str, found: &mut Vec<Found>) {
    let what = format!("{owner}::{}", tokens[name].text);
    let owner = if owner.is_empty() {
        &tokens[name].text
    } else {
        owner
    };
    let Some(open) = (name..tokens.len()).find(|&at| is(tokens, at, "(")) else {
        return;
    };
    let end = end_of_group(tokens, open);
    for part in parts(&tokens[open + 1..end - 1]) {
        named(part, found, owner, &what);
    }
    let stops = |at: &usize| ["{", ";", "where"].contains(&tokens[*at].text.as_str());
    let body = (end..tokens.len()).find(stops).unwrap_or(tokens.len());
    if is_bare(&tokens[end..body]) {
        found.push(Found {
            name: tokens[name].text.clone(),
            owner: owner.to_owned(),
            what: format!("given by {what}"),
            line: tokens[name].line,
        });
    }
}

/// Public functions of an implementation whose body begins here.
fn functions(tokens: &[Token], open: usize, owner: &str, found: &mut Vec<Found>) {
    let end = end_of_group(tokens, open);
    let mut at = open + 1;
    while at < end {
        if is(tokens, at, "{") {
            at = end_of_group(tokens, at);
            continue;
        }
        if is(tokens, at, "pub") && !is(tokens, at + 1, "(") {
            let is_const = usize::from(is(tokens, at + 1, "const"));
            if is(tokens, at + 1 + is_const, "fn") {
                function(tokens, at + 2 + is_const, owner, found);
            }
        }
        at += 1;
    }
}

/// Names that a floor shows at its door and at those of its public rooms.
fn shown(floor: &Path) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    let tokens = source(&floor.join("mod.rs"));
    for at in 0..tokens.len() {
        if !is(&tokens, at, "pub") {
            continue;
        }
        if is(&tokens, at + 1, "use") {
            let last = |path: Vec<Token>| path.last().map(|it| it.text.clone());
            names.extend(paths(&tokens, at + 2).into_iter().filter_map(last));
            // Of one whose path begins without `crate`.
            names.extend(tokens.get(at + 2).map(|it| it.text.clone()));
        }
        let room = floor.join(&tokens[at + 2].text);
        if is(&tokens, at + 1, "mod") && room.is_dir() {
            names.extend(self::shown(&room));
        }
    }
    names
}

fn bare_quantities(tokens: &[Token], is_shown: impl Fn(&str) -> bool) -> Vec<Found> {
    let (mut found, mut depth) = (Vec::new(), 0);
    for at in 0..tokens.len().saturating_sub(1) {
        match tokens[at].text.as_str() {
            "{" => depth += 1,
            "}" => depth -= 1,
            _ => {}
        }
        let owner = tokens[at + 1].text.as_str();
        let opens =
            (at + 2..tokens.len()).find(|&it| ["{", ";", "("].contains(&tokens[it].text.as_str()));
        let (Some(open), true) = (opens, is_shown(owner)) else {
            continue;
        };
        let is_public = at > 0 && is(tokens, at - 1, "pub");
        match tokens[at].text.as_str() {
            "struct" if is_public && is(tokens, open, "{") => {
                fields(tokens, open, owner, &mut found);
            }
            // Those of an implementation are looked at with it.
            "fn" if is_public && depth == 0 => function(tokens, at + 1, "", &mut found),
            "impl" if !tokens[at..open].iter().any(|it| it.text == "for") => {
                functions(tokens, open, owner, &mut found);
            }
            _ => {}
        }
    }
    found
}

#[test]
fn no_bare_number_goes_from_floor_to_floor_without_its_unit() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let (mut breaches, mut looked, mut used) = (Vec::new(), 0, BTreeSet::new());
    for floor in FLOORS {
        let mut files = Vec::new();
        rust_files(&root.join(floor), &mut files);
        // The other floors have few rooms, and hide little.
        let shown = (floor == "readings").then(|| shown(&root.join(floor)));
        let is_shown = |it: &str| shown.as_ref().is_none_or(|names| names.contains(it));
        for path in &files {
            let found = bare_quantities(&source(path), is_shown);
            looked += found.len();
            for it in found {
                if !says_its_unit(&it) {
                    let file = path.strip_prefix(&root).unwrap().display();
                    breaches.push(format!("src/{file}:{}: {}, {}", it.line, it.name, it.what));
                }
                used.insert(it.full());
            }
        }
    }
    assert!(breaches.is_empty(), "\n{}", breaches.join("\n"));
    assert!(looked > 100, "only {looked} bare numbers were found");
    for name in BARE.iter().flat_map(|(_, all)| *all) {
        assert!(used.contains(*name), "{name} is not needed any more");
    }
}

#[test]
fn a_bare_number_is_found_wherever_it_stands() {
    let text = "
        pub struct Shown { #[serde(default)] pub width: f64, pub at_s: Option<f64>, kept: f64, pub good: Percent, pub half_width: f64 }
        struct Hidden { pub speed: f64 }
        impl Shown {
            pub fn takes(&self, level: f32, pair: (u8, [f64; 2])) -> bool { let x: f64 = 1.0; x > 0.0 }
            pub const fn gives(&self) -> Option<f64> { None }
            fn inside(&self, level: f64) {}
        }
        impl Other for Shown { fn other(&self, level: f64) {} }
    ";
    let found = bare_quantities(&tokens(text), |name| name == "Shown");
    let names: Vec<&str> = found.iter().map(|it| it.name.as_str()).collect();
    assert_eq!(
        names,
        ["width", "at_s", "half_width", "level", "pair", "gives"]
    );
    let unsaid = found.iter().filter(|it| !says_its_unit(it));
    // That half a width of another type has no unit says nothing of this one.
    assert_eq!(unsaid.count(), 5);
}
