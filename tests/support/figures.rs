//! Every number in a value, as its `{:?}` has them, each with the way to it and
//! its unit: JSON would turn one that is no number into `null` without a word.

use std::fmt::Debug;

/// A number and where it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// Names of fields from the outside in, parted by dots.
    pub way: String,
    /// The type that wraps it, such as `Percent`.
    pub unit: String,
    pub value: f64,
}

/// What a bracket stands in: the field, and the word before it.
struct Group {
    field: String,
    word: String,
}

/// All numbers of a value.
pub fn figures(value: &impl Debug) -> Vec<Figure> {
    let text = format!("{value:?}");
    let mut rest = text.as_str();
    let mut groups: Vec<Group> = Vec::new();
    let (mut field, mut word) = (String::new(), String::new());
    let mut figures = Vec::new();
    while let Some(first) = rest.chars().next() {
        let length = match first {
            '"' => end_of_text(rest),
            c if c.is_alphanumeric() || c == '_' || c == '-' => {
                let is_part = |c: char| c.is_alphanumeric() || "_.-+".contains(c);
                rest.find(|c| !is_part(c)).unwrap_or(rest.len())
            }
            c => c.len_utf8(),
        };
        let (token, after) = rest.split_at(length);
        rest = after;
        match token {
            "{" | "(" | "[" => groups.push(Group {
                field: std::mem::take(&mut field),
                word: std::mem::take(&mut word),
            }),
            "}" | ")" | "]" => {
                groups.pop();
                (field, word) = (String::new(), String::new());
            }
            ":" => field = std::mem::take(&mut word),
            "," => (field, word) = (String::new(), String::new()),
            _ => match number(token) {
                Some(value) => {
                    let names = groups.iter().map(|it| &it.field).chain([&field]);
                    let names: Vec<&str> = names.map(String::as_str).collect();
                    let names = names.into_iter().filter(|it| !it.is_empty());
                    figures.push(Figure {
                        way: names.collect::<Vec<_>>().join("."),
                        unit: groups.last().map_or_else(String::new, |it| it.word.clone()),
                        value,
                    });
                }
                None if first.is_alphanumeric() || first == '_' => token.clone_into(&mut word),
                None => {}
            },
        }
    }
    figures
}

fn number(token: &str) -> Option<f64> {
    match token {
        "NaN" | "inf" | "-inf" => token.parse().ok(),
        // What Rust would also take for a number are names here.
        _ if token.starts_with(|c: char| c.is_ascii_digit() || c == '-') => token.parse().ok(),
        _ => None,
    }
}

fn end_of_text(text: &str) -> usize {
    let mut escaped = false;
    let end = text.char_indices().skip(1).find(|&(_, c)| {
        let ends = c == '"' && !escaped;
        escaped = c == '\\' && !escaped;
        ends
    });
    end.map_or(text.len(), |(at, _)| at + 1)
}

/// Names of what cannot be below zero.
const NEVER_NEGATIVE: [&str; 10] = [
    "uncertainty",
    "scatter",
    "jitter",
    "averaged",
    "two_sigma",
    "rms",
    "since",
    "share",
    "likelihood",
    "stiffness",
];

/// Digital silence has no level in decibels: these two alone say so by −∞, as
/// documented where they are made.
const SILENT_LEVELS: [&str; 2] = ["input_level", "input_peak"];

impl Figure {
    fn is_silence(&self) -> bool {
        let last = self.way.rsplit('.').next().unwrap_or("");
        self.value == f64::NEG_INFINITY && SILENT_LEVELS.contains(&last)
    }

    /// What is wrong with it, if anything is.
    fn fault(&self) -> Option<&'static str> {
        let value = self.value;
        if self.is_silence() {
            return None;
        }
        if !value.is_finite() {
            return Some("no number");
        }
        let last = self.way.rsplit('.').next().unwrap_or("");
        if value < 0.0 && NEVER_NEGATIVE.iter().any(|name| last.contains(name)) {
            return Some("below zero");
        }
        let range = match self.unit.as_str() {
            "Percent" => -100.0..=1e4,
            "Hertz" => 0.0..=400_000.0,
            "Decibels" => -1000.0..=200.0,
            "Seconds" => -1e5..=1e7,
            "Cents" => -1e4..=1e4,
            "Ppm" => -1e6..=1e6,
            _ => -1e15..=1e15,
        };
        (!range.contains(&value)).then_some("beyond all reason")
    }
}

/// What is wrong with the numbers of a value, one line each.
pub fn faults(value: &impl Debug) -> Vec<String> {
    let all = figures(value);
    let wrong = all.iter().filter_map(|it| Some((it, it.fault()?)));
    wrong
        .map(|(it, fault)| format!("{} = {}({}): {fault}", it.way, it.unit, it.value))
        .collect()
}

#[test]
fn every_number_is_found_with_its_way_and_unit() {
    #[derive(Debug)]
    #[allow(dead_code)] // read by `Debug`
    struct Percent(f64);
    #[derive(Debug)]
    #[allow(dead_code)]
    struct Inner {
        name: &'static str,
        scatter: Option<Percent>,
        input_level: Vec<f64>,
    }
    #[derive(Debug)]
    #[allow(dead_code)]
    struct Outer {
        at: f64,
        inner: Inner,
        pair: Option<(Percent, [f64; 2])>,
        nothing: Option<f64>,
    }
    let value = Outer {
        at: f64::NAN,
        inner: Inner {
            name: "a \"NaN\": 7, inf",
            scatter: Some(Percent(-1e-9)),
            input_level: vec![f64::NEG_INFINITY, -3.5],
        },
        pair: Some((Percent(2e5), [1.0, f64::INFINITY])),
        nothing: None,
    };
    let found: Vec<String> = (figures(&value).iter())
        .map(|it| format!("{} {} {}", it.way, it.unit, it.value))
        .collect();
    assert_eq!(
        found,
        [
            "at Outer NaN",
            "inner.scatter Percent -0.000000001",
            "inner.input_level  -inf",
            "inner.input_level  -3.5",
            "pair Percent 200000",
            "pair  1",
            "pair  inf",
        ]
    );
    assert_eq!(faults(&value).len(), 4);
}
