//! A screen read as a technician reads it, large figures included.

/// The signed figure in large letters.
pub fn large_figure(screen: &str) -> Option<f64> {
    let (text, _) = figure(&cells(screen))?;
    // Two decimals: anything less is a figure that is half drawn.
    let decimals = text.split_once('.')?.1;
    (decimals.len() == 2).then(|| text.parse().ok())?
}

/// True where the word stands beside the large figure, in whatever size.
pub fn says_beside_figure(screen: &str, word: &str) -> bool {
    let cells = cells(screen);
    let Some((_, top)) = figure(&cells) else {
        return false;
    };
    let mut beside = screen.lines().skip(top).take(5);
    has_large(&cells, word) || beside.any(|line| line.contains(word))
}

/// The first run of large letters that is a number, and its uppermost row.
fn figure(cells: &[Vec<bool>]) -> Option<(String, usize)> {
    let width = cells.iter().map(Vec::len).max()?;
    (0..cells.len())
        .flat_map(|y| (0..width).map(move |x| (x, y)))
        .map(|(x, y)| (number_at(cells, x, y), y))
        .find(|(text, _)| text.parse::<f64>().is_ok())
}

/// True where the word stands there in large letters.
fn has_large(cells: &[Vec<bool>], word: &str) -> bool {
    let rows = cells.iter().enumerate();
    let mut places = rows.flat_map(|(y, row)| (0..row.len()).map(move |x| (x, y)));
    places.any(|(mut x, y)| {
        word.chars().all(|letter| {
            let Some((_, glyph)) = GLYPHS.iter().find(|(known, _)| *known == letter) else {
                return false;
            };
            let fits = matches(cells, (x, y), *glyph);
            x += glyph[0].len() + 1;
            fits
        })
    })
}

fn cells(screen: &str) -> Vec<Vec<bool>> {
    let row = |line: &str| line.chars().map(|cell| cell == '█').collect();
    screen.lines().map(row).collect()
}

type Glyph = [&'static str; 5];

/// How the large letters look, five rows high.
const GLYPHS: [(char, Glyph); 24] = [
    ('0', ["######", "##  ##", "##  ##", "##  ##", "######"]),
    ('1', ["  ##  ", "####  ", "  ##  ", "  ##  ", "######"]),
    ('2', ["######", "    ##", "######", "##    ", "######"]),
    ('3', ["######", "    ##", " #####", "    ##", "######"]),
    ('4', ["##  ##", "##  ##", "######", "    ##", "    ##"]),
    ('5', ["######", "##    ", "######", "    ##", "######"]),
    ('6', ["######", "##    ", "######", "##  ##", "######"]),
    ('7', ["######", "    ##", "   ## ", "  ##  ", "  ##  "]),
    ('8', ["######", "##  ##", "######", "##  ##", "######"]),
    ('9', ["######", "##  ##", "######", "    ##", "######"]),
    ('+', ["      ", "  ##  ", "######", "  ##  ", "      "]),
    ('-', ["      ", "      ", "######", "      ", "      "]),
    ('.', ["  ", "  ", "  ", "  ", "##"]),
    ('S', ["#####", "##   ", "#####", "   ##", "#####"]),
    ('L', ["##  ", "##  ", "##  ", "##  ", "####"]),
    ('O', ["#####", "## ##", "## ##", "## ##", "#####"]),
    ('W', ["##   ##", "##   ##", "## # ##", "### ###", "##   ##"]),
    ('F', ["#####", "##   ", "#### ", "##   ", "##   "]),
    ('A', ["#####", "## ##", "#####", "## ##", "## ##"]),
    ('T', ["####", " ## ", " ## ", " ## ", " ## "]),
    ('R', ["#### ", "## ##", "#### ", "## ##", "## ##"]),
    ('I', ["##", "##", "##", "##", "##"]),
    ('G', ["#####", "##   ", "## ##", "## ##", "#####"]),
    ('H', ["## ##", "## ##", "#####", "## ##", "## ##"]),
];

/// The large signs and digits that stand there one after the other.
fn number_at(cells: &[Vec<bool>], mut x: usize, y: usize) -> String {
    let mut text = String::new();
    let signs = GLYPHS.iter().filter(|(letter, _)| !letter.is_alphabetic());
    while let Some((letter, glyph)) = signs
        .clone()
        .find(|(_, glyph)| matches(cells, (x, y), *glyph))
    {
        text.push(*letter);
        x += glyph[0].len() + 1;
    }
    text
}

fn matches(cells: &[Vec<bool>], (x, y): (usize, usize), glyph: Glyph) -> bool {
    let at = |x: usize, y: usize| cells.get(y).and_then(|row| row.get(x)) == Some(&true);
    glyph.iter().enumerate().all(|(down, row)| {
        row.chars()
            .enumerate()
            .all(|(across, cell)| at(x + across, y + down) == (cell == '#'))
    })
}
