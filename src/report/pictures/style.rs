//! Colours and lettering of all pictures, and of the page they stand on. Nothing
//! is told by colour alone: what was before is dashed or hollow, what is after
//! is whole.

use std::fmt::Write as _;

/// A colour by its use, on white paper and on a dark screen.
type Colour = (&'static str, &'static str, &'static str);

const COLOURS: [Colour; 9] = [
    ("paper", "#ffffff", "#15181c"),
    ("raised", "#f1f3f5", "#22272e"),
    ("ink", "#14171b", "#edf0f3"),
    ("soft", "#475059", "#b4bdc8"),
    ("faint", "#c3cad2", "#48525e"),
    ("zone", "#d3eedb", "#1d4a2e"),
    ("edge", "#1b6e38", "#6bd08f"),
    ("before", "#a83b08", "#ffab78"),
    ("after", "#0a539e", "#86c0ff"),
];

/// What is asked for by those who would rather have it dark; paper stays white.
const DARK: &str = "@media screen and (prefers-color-scheme:dark)";

/// The classes of a picture, with what stands for each colour.
fn rules(colour: impl Fn(&'static str) -> String) -> String {
    let mut css = String::from(
        ".tw text{font-family:system-ui,'DejaVu Sans','Liberation Sans',Arial,sans-serif;\
         font-size:13px}.tw .big{font-size:15px;font-weight:600}.tw .mid{text-anchor:middle}\
         .tw .end{text-anchor:end}.tw .curve{fill:none;stroke-width:1.6;stroke-linejoin:round}\
         .tw .dashed{stroke-dasharray:5 3}.tw .thick{stroke-width:2.4}\
         .tw .stamp{font-size:40px;font-weight:700;opacity:.55}",
    );
    for (class, fill, stroke) in [
        ("paper", "paper", ""),
        ("words", "ink", ""),
        ("soft", "soft", ""),
        ("zone", "zone", ""),
        ("grid", "", "faint"),
        ("axis", "", "soft"),
        ("edge", "", "edge"),
        ("before-line", "", "before"),
        ("after-line", "", "after"),
        ("before-mark", "paper", "before"),
        ("after-mark", "after", "after"),
        ("before-words", "before", ""),
        ("after-words", "after", ""),
        ("bad", "", "before"),
        ("stamp", "", "before"),
    ] {
        let paint = |what, name: &'static str| match name {
            "" => format!("{what}:none"),
            name => format!("{what}:{}", colour(name)),
        };
        // Writing to a string cannot fail.
        let _ = write!(
            css,
            ".tw .{class}{{{};{}}}",
            paint("fill", fill),
            paint("stroke", stroke)
        );
    }
    css
}

/// For a file of its own: other programs know neither variables nor, some of
/// them, dark screens, and then take what stands first.
pub(super) fn of_file() -> String {
    let by = |dark: bool| {
        rules(move |name| {
            let found = COLOURS.iter().find(|(it, ..)| *it == name);
            let (_, on_white, on_dark) = found.expect("every class names a colour of the table");
            (if dark { on_dark } else { on_white }).to_string()
        })
    };
    format!("{}{DARK}{{{}}}", by(false), by(true))
}

/// For a page that holds pictures: variables of the same names, and the classes.
pub fn of_page() -> String {
    let variables = |dark: bool| -> String {
        let each = COLOURS.iter().map(|(name, on_white, on_dark)| {
            let value = if dark { on_dark } else { on_white };
            format!("--{name}:{value};")
        });
        each.collect()
    };
    format!(
        ":root{{color-scheme:light dark;{}}}{DARK}{{:root{{{}}}}}{}",
        variables(false),
        variables(true),
        rules(|name| format!("var(--{name})"))
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance (WCAG 2.2) of `#rrggbb`.
    fn luminance(colour: &str) -> f64 {
        let channel = |at: usize| {
            let value = u8::from_str_radix(&colour[at..at + 2], 16).expect("hex");
            let value = f64::from(value) / 255.0;
            if value <= 0.040_45 {
                value / 12.92
            } else {
                ((value + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5)
    }

    fn contrast(one: &str, other: &str) -> f64 {
        let [one, other] = [one, other].map(luminance);
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    }

    #[test]
    fn words_and_marks_stand_out_on_paper_and_on_a_dark_screen() {
        let of = |name: &str| COLOURS.iter().find(|it| it.0 == name).expect("there");
        for ground in ["paper", "raised", "zone"] {
            for ink in ["ink", "soft", "before", "after"] {
                let (one, other) = (of(ground), of(ink));
                for (paper, words) in [(one.1, other.1), (one.2, other.2)] {
                    let found = contrast(paper, words);
                    // WCAG 2.2, 1.4.3, level AA.
                    assert!(found >= 4.5, "{ink} on {ground}: {found:.2}");
                }
            }
        }
        for (paper, edge) in [(of("paper").1, of("edge").1), (of("paper").2, of("edge").2)] {
            // 1.4.11, level AA.
            assert!(contrast(paper, edge) >= 3.0);
        }
    }
}
