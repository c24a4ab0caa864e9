//! Draws the built-in models again: `cargo run --example drawings`, one SVG a model into `models/`.
//!
//! Nothing is to scale, but every picture adds up: what a requirement of the model sums is what the
//! picture's lengths come to, so each is built from the same few numbers.
//!
//! A drawing marks every dimension, thermal term, pack and requirement of its model with a dimension line and its
//! label, word by word; `tests/drawings` adds the drawn lengths up with the signs of the model. Tell parts apart by
//! hatching and labels, not by colour alone. The table `[figures]` of the model says where the figure of each stands,
//! as shares of width and height, in the room that its label has for it: it is printed.
//!
//! Each is drawn a second time for the slip, where it is 98 mm wide: `NAME.keyed.svg` has a letter for each length, in the
//! order of the model file, and the slip says beside it what the letters mean. All its words are large enough to be read.
//!
//! Workbooks hold no SVG, so a PNG of 1400 px lies beside it and is built in (`DRAWINGS`, in the order of `BUILT_IN`):
//! `rsvg-convert -b white -w 1400 x.svg | pngquant --nofs 32 - > x.png`, with Liberation Sans installed. Look at it
//! before it is committed.

#![allow(missing_docs)]

use std::fmt::Write;
use std::{fs, io};

const INK: &str = "#1D2B3A";

/// Draws a model with such words.
type Draw = fn(Words) -> Drawing;

fn main() -> io::Result<()> {
    let folder = std::env::args().nth(1).unwrap_or_else(|| "models".into());
    let all: [(&str, Draw); 5] = [
        ("screwed-impeller", screwed_impeller),
        ("front-set-metric", front_set_metric),
        ("bearing-cap", bearing_cap),
        ("seal-setting", seal_setting),
        ("thrust-collar", thrust_collar),
    ];
    for (name, draw) in all {
        let drawing = draw(Words::Whole);
        println!("[figures] of {name}");
        drawing.places().for_each(|place| println!("{place}"));
        fs::write(format!("{folder}/{name}.svg"), drawing.finish(""))?;
        let keys = labels(&fs::read_to_string(format!("models/{name}.toml"))?);
        let drawing = draw(Words::Keys(keys));
        fs::write(format!("{folder}/{name}.keyed.svg"), drawing.finish(&format!("{name}-")))?;
    }
    Ok(())
}

/// Words of a drawing.
enum Words {
    /// Each length has its label, with room for a figure under it.
    Whole,
    /// Each length has a letter: that of its label's place among these.
    Keys(Vec<String>),
}

/// Labels of a model's dimensions, thermal terms, packs and requirements, in this order and within each in that of the file.
fn labels(model: &str) -> Vec<String> {
    let mut found: Vec<(usize, String)> = Vec::new();
    let mut of = None;
    for line in model.lines() {
        if line.starts_with('[') {
            let kinds = ["[dimension.", "[thermal.", "[pack.", "[requirement."];
            of = kinds.iter().position(|kind| line.starts_with(kind));
        } else if let (Some(of), Some(rest)) = (of, line.strip_prefix("label = \"")) {
            found.push((of, rest.split('"').next().unwrap_or_default().to_string()));
        }
    }
    found.sort_by_key(|(of, _)| *of);
    found.into_iter().map(|(_, label)| label).collect()
}

/// What a part is: told apart by its hatching first, by its tint second.
#[derive(Clone, Copy)]
enum Part {
    Fixed,
    Moving,
    Impeller,
    Shim,
    Gasket,
    Plain,
}

/// What a label names: a measured dimension is bare, pieces are framed, a requirement is dark, a
/// thermal term is framed in dashes.
#[derive(Clone, Copy)]
enum Kind {
    Measured,
    Pieces,
    Required,
    Thermal,
}

/// Which way a length runs.
#[derive(Clone, Copy)]
enum Way {
    Across,
    Down,
}
use Kind::{Measured, Pieces, Required, Thermal};
use Part::{Fixed, Gasket, Impeller, Moving, Plain, Shim};
use Way::{Across, Down};

/// Where a label stands to its point.
#[derive(Clone, Copy)]
enum Side {
    Left,
    Right,
    Middle,
}

struct Drawing {
    said: Words,
    height: i32,
    /// Parts, then lines, then words: what is later lies on top.
    parts: String,
    lines: String,
    words: String,
    title: &'static str,
    /// What the dashed lines mean in this picture.
    dashed: &'static str,
    thermal: bool,
    /// The length drawn last: that of the labels that follow.
    length: Option<i32>,
    /// Names of lengths, and the middles of the room for their figures.
    figures: Vec<(String, [i32; 2])>,
}

impl Drawing {
    fn new(said: Words, title: &'static str, dashed: &'static str, height: i32) -> Drawing {
        Drawing {
            said,
            height,
            dashed,
            thermal: false,
            length: None,
            figures: Vec::new(),
            parts: String::new(),
            lines: String::new(),
            words: String::new(),
            title,
        }
    }

    /// A part by its outline, as the `d` of an SVG path that is closed at its end.
    fn part(&mut self, part: Part, outline: &str) {
        let fill = match part {
            Fixed => "url(#fixed)",
            Moving => "#A9CBE4",
            Impeller => "url(#impeller)",
            Shim => "#E69F00",
            Gasket => "url(#gasket)",
            Plain => "#FFFFFF",
        };
        let _ = writeln!(
            self.parts,
            r#"<path d="{outline} Z" fill="{fill}" stroke="{INK}" stroke-width="1.4"/>"#
        );
    }

    fn block(&mut self, part: Part, (left, top): (i32, i32), (right, bottom): (i32, i32)) {
        self.part(part, &format!("M{left},{top} H{right} V{bottom} H{left}"));
    }

    /// A rolling bearing: both rings and a ball.
    fn bearing(&mut self, (left, top): (i32, i32), (right, bottom): (i32, i32)) {
        self.block(Plain, (left, top), (right, bottom));
        let ring = (bottom - top) / 4;
        self.block(Moving, (left, bottom - ring), (right, bottom));
        self.block(Fixed, (left, top), (right, top + ring));
        let (x, y, r) = ((left + right) / 2, (top + bottom) / 2, (bottom - top) / 4 + 4);
        let _ = writeln!(
            self.parts,
            r##"<circle cx="{x}" cy="{y}" r="{r}" fill="#FFFFFF" stroke="{INK}" stroke-width="1.4"/>"##
        );
    }

    fn line(&mut self, way: Way, at: i32, from: i32, to: i32, dash: &str, width: f32) {
        let (x1, y1, x2, y2) = match way {
            Across => (from, at, to, at),
            Down => (at, from, at, to),
        };
        let dash = match dash {
            "" => String::new(),
            dash => format!(r#" stroke-dasharray="{dash}""#),
        };
        let _ = writeln!(
            self.lines,
            r#"<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="{INK}" stroke-width="{width}"{dash}/>"#
        );
    }

    /// Where something stood with no shims, or would stand.
    fn ghost(&mut self, way: Way, at: i32, from: i32, to: i32) {
        self.line(way, at, from, to, "6 4", 1.8);
    }

    fn centre_line(&mut self, way: Way, at: i32, from: i32, to: i32) {
        self.line(way, at, from, to, "18 4 3 4", 1.0);
    }

    /// A dimension line between `from` and `to` at `at`, its extension lines coming from the two
    /// `feet`. Short ones have their arrows outside. The tail towards `end` carries the label.
    fn dimension(
        &mut self,
        way: Way,
        (from, to): (i32, i32),
        at: i32,
        feet: (i32, i32),
        end: Option<i32>,
    ) {
        self.length = Some(to - from);
        let across = match way {
            Across => Down,
            Down => Across,
        };
        for (place, foot) in [(from, feet.0), (to, feet.1)] {
            let past = at + 5 * (at - foot).signum();
            self.line(across, place, foot, past, "", 0.7);
        }
        let short = to - from < 36;
        let tail = if short { 16 } else { 0 };
        let low = end.map_or(from - tail, |end| end.min(from - tail));
        let high = end.map_or(to + tail, |end| end.max(to + tail));
        self.line(way, at, low, high, "", 1.0);
        for (tip, points) in [(from, -1), (to, 1)] {
            let back = tip - 9 * if short { -points } else { points };
            let corners = [(tip, at), (back, at - 4), (back, at + 4)];
            let corners: Vec<String> = corners
                .iter()
                .map(|&(along, off)| match way {
                    Across => format!("{along},{off}"),
                    Down => format!("{off},{along}"),
                })
                .collect();
            let corners = corners.join(" ");
            let _ = writeln!(self.lines, r#"<polygon points="{corners}" fill="{INK}"/>"#);
        }
    }

    /// A label; `|` breaks the line. Its text is that of the model file, word by word, and the
    /// length that it stands for is noted beside it, so that the picture can be added up.
    fn label(&mut self, kind: Kind, (x, y): (i32, i32), side: Side, text: &str) {
        if let Words::Keys(keys) = &self.said {
            let at = keys.iter().position(|key| *key == text.replace('|', " "));
            return self.key(kind, (x, y), side, at.unwrap_or(keys.len()), text);
        }
        let rows: Vec<&str> = text.split('|').collect();
        let heavy = matches!(kind, Required);
        let widest = rows.iter().map(|row| width(row, heavy)).max().unwrap_or(0);
        let bare = matches!(kind, Measured);
        self.thermal |= matches!(kind, Thermal);
        let wide = widest + if bare { 6 } else { 14 };
        let below = 17 * i32::try_from(rows.len() - 1).unwrap_or(0);
        let named = below + if bare { 19 } else { 24 };
        // A length has room for a pump's own figure under its name.
        let room = self.length.map_or(0, |_| ROOM);
        let wide = if room > 0 { wide.max(FIGURE) } else { wide };
        let high = named + room;
        let left = match side {
            Side::Left => x - wide,
            Side::Right => x,
            Side::Middle => x - wide / 2,
        };
        let top = y - named / 2;
        let (fill, stroke, dash, ink) = kind.colours();
        let round = if matches!(kind, Pieces) { 11 } else { 2 };
        let whole = text.replace('|', " ");
        let length = self.length.map_or(String::new(), |l| format!(r#" data-length="{l}""#));
        if room > 0 {
            self.figures.push((whole.clone(), [left + wide / 2, top + named + room / 2]));
        }
        let _ = writeln!(
            self.words,
            r#"<g{length}><title>{whole}</title><rect x="{left}" y="{top}" width="{wide}" height="{high}" rx="{round}" fill="{fill}" stroke="{stroke}"{dash}/>"#
        );
        if room > 0 && heavy {
            let (left, top, wide, high) = (left + 2, y + named / 2 - 1, wide - 4, room - 1);
            let _ = writeln!(
                self.words,
                r##"<rect x="{left}" y="{top}" width="{wide}" height="{high}" fill="#FFFFFF"/>"##
            );
        }
        let weight = if heavy { r#" font-weight="bold""# } else { "" };
        for (row, line) in rows.iter().zip(0..) {
            let (middle, base, length) =
                (left + wide / 2, y + 5 + 17 * line - below / 2, width(row, heavy));
            let _ = writeln!(
                self.words,
                r#"<text x="{middle}" y="{base}" text-anchor="middle" textLength="{length}" lengthAdjust="spacingAndGlyphs" fill="{ink}"{weight}>{row}</text>"#
            );
        }
        self.words.push_str("</g>\n");
    }

    /// A letter in place of a label.
    fn key(&mut self, kind: Kind, (x, y): (i32, i32), side: Side, at: usize, text: &str) {
        const WIDE: i32 = 40;
        let left = match side {
            Side::Left => x - WIDE,
            Side::Right => x,
            Side::Middle => x - WIDE / 2,
        };
        let (top, middle, base) = (y - 19, left + WIDE / 2, y + 11);
        let (fill, stroke, dash, ink) = kind.colours();
        let stroke = if matches!(kind, Measured) { INK } else { stroke };
        let round = if matches!(kind, Pieces) { 16 } else { 2 };
        let letter = u8::try_from(at).map_or('?', |at| char::from(b'A' + at));
        let whole = text.replace('|', " ");
        let length = self.length.map_or(String::new(), |l| format!(r#" data-length="{l}""#));
        let _ = writeln!(
            self.words,
            r#"<g data-key="{letter}"{length}><title>{whole}</title><rect x="{left}" y="{top}" width="{WIDE}" height="38" rx="{round}" fill="{fill}" stroke="{stroke}" stroke-width="1.4"{dash}/><text x="{middle}" y="{base}" text-anchor="middle" fill="{ink}" font-weight="bold">{letter}</text></g>"#
        );
    }

    /// The first where the words are whole, the second where they are keyed, and larger.
    fn either<T>(&self, whole: T, keyed: T) -> T {
        if self.is_keyed() { keyed } else { whole }
    }

    fn is_keyed(&self) -> bool {
        matches!(self.said, Words::Keys(_))
    }

    /// A length across with its label: at the tail's end, or above the line that has none.
    fn across(
        &mut self,
        (kind, text): (Kind, &str),
        (from, to): (i32, i32),
        at: i32,
        feet: (i32, i32),
        end: Option<i32>,
    ) {
        self.dimension(Across, (from, to), at, feet, end);
        match end {
            Some(end) if end < from => self.label(kind, (end, at), Side::Left, text),
            Some(end) => self.label(kind, (end, at), Side::Right, text),
            None => {
                let above = at - if self.is_keyed() { 25 } else { 15 + ROOM };
                self.label(kind, ((from + to) / 2, above), Side::Middle, text);
            }
        }
    }

    /// The name of a part, on a ground of its own so that hatching does not run through it.
    fn name(&mut self, (x, y): (i32, i32), text: &str) {
        let keyed = self.is_keyed();
        let (high, up, down) = if keyed { (34, 17, 10) } else { (18, 9, 5) };
        for (row, line) in text.split('|').zip(0..) {
            let wide = if keyed { large(row) } else { width(row, false) } + 6;
            let step = line * (high - 1);
            let (left, top, base) = (x - wide / 2, y - up + step, y + down + step);
            let _ = writeln!(
                self.words,
                r##"<rect x="{left}" y="{top}" width="{wide}" height="{high}" rx="3" fill="#FFFFFF" fill-opacity="0.9"/><text x="{x}" y="{base}" text-anchor="middle" font-style="italic">{row}</text>"##
            );
        }
    }

    fn note(&mut self, (x, y): (i32, i32), text: &str) {
        let _ = writeln!(self.words, r#"<text x="{x}" y="{y}">{text}</text>"#);
    }

    /// Where the figure of each length stands, as shares of width and height.
    fn places(&self) -> impl Iterator<Item = String> {
        let whole = f64::from(self.height + HEAD);
        self.figures.iter().map(move |(name, [x, y])| {
            let [x, y] = [f64::from(*x) / 900.0, f64::from(y + HEAD) / whole];
            format!("{name} = [{x:.3}, {y:.3}]")
        })
    }

    /// The file of a keyed drawing.
    fn finish_keyed(mut self, prefix: &str) -> String {
        let mut rows = vec![String::new()];
        let said = format!("Dashed: {}.", self.dashed);
        for word in said.split(' ').chain(["Not to scale."]) {
            let last = rows.last().map_or("", String::as_str);
            if large(last) + large(word) > 850 {
                rows.push(String::new());
            }
            let last = rows.last_mut().into_iter();
            last.for_each(|last| *last = [last.as_str(), word].join(" ").trim_start().to_string());
        }
        let mut below = self.height - 40;
        for row in &rows {
            below += 36;
            let _ = writeln!(self.words, r#"<text x="10" y="{}">{row}</text>"#, below - 8);
        }
        let body = [self.parts, self.lines, self.words].concat();
        let high = below - TOP + 4;
        let head = format!(
            r#"viewBox="0 {TOP} 900 {high}" width="900" height="{high}" {FONT} font-size="30""#
        );
        framed(self.title, &head, prefix, &body)
    }

    /// The file; names within it begin with `prefix`, so that several can stand on one page.
    fn finish(mut self, prefix: &str) -> String {
        if self.is_keyed() {
            return self.finish_keyed(prefix);
        }
        let (height, whole) = (self.height, self.height + HEAD);
        let y = height - 22;
        let mut kinds = vec![(Pieces, "pieces"), (Required, "required")];
        if self.thermal {
            kinds.push((Thermal, "growth in service"));
        }
        self.dimension(Across, (20, 62), y, (y, y), None);
        self.length = None;
        self.note((70, y + 5), "measured");
        let mut x = 148;
        for (kind, text) in kinds {
            self.label(kind, (x, y), Side::Right, text);
            x += width(text, true) + 26;
        }
        self.note((x, y + 5), &format!("Dashed: {}. Not to scale.", self.dashed));
        let Drawing { parts, lines, words, title, .. } = self;
        let body = format!(
            r##"<rect y="-{HEAD}" width="900" height="{whole}" fill="#FFFFFF"/>
<text x="450" y="6" text-anchor="middle" font-size="17" font-weight="bold">{title}</text>
{parts}{lines}{words}"##
        );
        let head = format!(
            r#"viewBox="0 -{HEAD} 900 {whole}" width="900" height="{whole}" {FONT} font-size="14""#
        );
        framed(title, &head, prefix, &body)
    }
}

/// A file with its patterns.
fn framed(title: &str, head: &str, prefix: &str, body: &str) -> String {
    let body = body.replace("url(#", &format!("url(#{prefix}"));
    format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" {head} fill="{INK}">
<title>{title}</title>
<defs>
<pattern id="{prefix}fixed" width="10" height="10" patternUnits="userSpaceOnUse"><rect width="10" height="10" fill="#E4ECF4"/><path d="M-2,2 l4,-4 M0,10 l10,-10 M8,12 l4,-4" stroke="#7C90A4" stroke-width="1"/></pattern>
<pattern id="{prefix}impeller" width="10" height="10" patternUnits="userSpaceOnUse"><rect width="10" height="10" fill="#A9CBE4"/><path d="M-2,8 l4,4 M0,0 l10,10 M8,-2 l4,4" stroke="#2F6C9B" stroke-width="1"/></pattern>
<pattern id="{prefix}gasket" width="6" height="6" patternUnits="userSpaceOnUse"><rect width="6" height="6" fill="#F8D99A"/><path d="M0,6 l6,-6 M0,0 l6,6" stroke="#9A6A00" stroke-width="0.8"/></pattern>
</defs>
{body}</svg>
"##
    )
}

impl Kind {
    /// Fill, edge, dashes of the edge, letters.
    fn colours(self) -> (&'static str, &'static str, &'static str, &'static str) {
        match self {
            Measured => ("#FFFFFF", "none", "", INK),
            Pieces => ("#FDF0D5", INK, "", INK),
            Required => (INK, INK, "", "#FFFFFF"),
            Thermal => ("#FFFFFF", INK, r#" stroke-dasharray="4 3""#, INK),
        }
    }
}

/// How wide a text is at the size of a keyed drawing.
fn large(text: &str) -> i32 {
    width(text, false) * 30 / 14
}

/// How wide a text is at 14 px: the usual widths of a sans-serif's letters, in groups.
fn width(text: &str, heavy: bool) -> i32 {
    let thousandths: i32 = text
        .chars()
        .map(|c| match c {
            'i' | 'j' | 'l' => 222,
            'f' | 't' | ' ' | ',' | '.' | ':' | 'I' => 278,
            'r' | '-' => 333,
            'c' | 'k' | 's' | 'v' | 'x' | 'y' | 'z' => 500,
            'm' | 'M' => 833,
            'w' | 'C' | 'R' | 'H' => 722,
            'A'..='Z' => 667,
            _ => 556,
        })
        .sum();
    thousandths * if heavy { 15 } else { 14 } / 1000
}

/// How tall the room for a figure is under the name of a length, and how wide at least: 9 points where the drawing is
/// 98 mm wide, as on a slip.
const ROOM: i32 = 29;
const FIGURE: i32 = 116;

const FONT: &str = r#"font-family="Arial, Helvetica, 'Liberation Sans', sans-serif""#;

/// Upper edge of a keyed drawing, which has no title.
const TOP: i32 = 14;

/// Room for the title, above where heights are counted from.
const HEAD: i32 = 20;

/// The axis of the horizontal pumps, of which the upper half is drawn.
const AXIS: i32 = 442;

fn shaft(d: &mut Drawing, from: i32, to: i32) {
    d.block(Moving, (from, 402), (to, AXIS));
    d.centre_line(Across, AXIS, 14, 886);
    d.name(((from + to) / 2 - 30, 422), "shaft");
}

/// A packed stuffing box: two rings, the lantern ring, three rings, and the gland before them.
fn stuffing_box(d: &mut Drawing, left: i32) {
    d.block(Fixed, (left + 14, 328), (left + 130, 366));
    d.block(Fixed, (left + 122, 366), (left + 130, 398));
    for ring in 0..6 {
        let x = left + 26 + 16 * ring;
        let part = if ring == 2 { Plain } else { Gasket };
        d.block(part, (x, 368), (x + 16, 402));
    }
    d.part(Fixed, &format!("M{left},340 h12 v30 h14 v28 h-26"));
    d.name((left + 72, 347), "stuffing box");
}

/// A semi-open impeller, its open face at `face`; `towards` is 1 where the face looks right.
fn impeller(d: &mut Drawing, face: i32, towards: i32) {
    let [eye, hub, root, tip] = [24, 104, 88, 76].map(|behind| face - towards * behind);
    let outline = format!("M{face},222 V352 L{eye},404 V{AXIS} H{hub} V384 L{root},372 L{tip},222");
    d.part(Impeller, &outline);
    // Where the vanes meet the shroud.
    let [from, to] = [56, 64].map(|behind| face - towards * behind);
    let _ = writeln!(
        d.parts,
        r#"<path d="M{from},222 L{to},372" fill="none" stroke="{INK}" stroke-width="1"/>"#
    );
    let at = (face - towards * d.either(46, 62), 300);
    d.name(at, "impeller");
}

/// Back wall and top of a casing, closed by the suction cover at `cover`.
fn casing(d: &mut Drawing, left: i32, cover: i32) {
    let inside = left + 28;
    let outline = format!("M{left},184 H{cover} V206 H{inside} V366 H{left}");
    d.part(Fixed, &outline);
}

/// The cover before the impeller, its face at `face`.
fn suction_cover(d: &mut Drawing, face: i32, towards: i32, name: &str) {
    let out = face + towards * 62;
    d.part(Fixed, &format!("M{face},184 H{out} V372 L{face},352"));
    let at = face + towards * d.either(31, 58);
    d.name((at.clamp(50, 850), 270), name);
}

fn screwed_impeller(said: Words) -> Drawing {
    let mut d = Drawing::new(
        said,
        "End suction, screwed impeller, shims over the bearing",
        "where the impeller stands with no shims",
        520,
    );
    let (shims, ring, clearance) = (26, 20, 22);
    let face = 250;
    let (on_shims, cover) = (face + shims, face + shims + ring);
    let (front, suction) = (752, 752 + clearance);
    let bare = front - shims;

    shaft(&mut d, 40, front - 24);
    let housing = format!("M70,190 H{face} V272 H104 V396 H70");
    d.part(Fixed, &housing);
    d.bearing((184, 272), (cover + 8, 402));
    d.block(Shim, (face, 238), (on_shims, 272));
    d.block(Plain, (on_shims, 232), (cover, 286));
    d.block(Gasket, (face, 192), (cover, 226));
    let outline = format!("M{cover},184 h52 V398 h-38 V280 H{cover}");
    d.part(Fixed, &outline);
    stuffing_box(&mut d, 456);
    casing(&mut d, 586, suction);
    impeller(&mut d, front, 1);
    suction_cover(&mut d, suction, 1, "suction|cover");
    d.ghost(Down, bare, 216, 352);

    let tag = (Measured, "Snap ring thickness");
    d.across(tag, (on_shims, cover), 76, (232, 184), Some(cover + 26));
    let tag = (Pieces, "Shims over the bearing");
    d.across(tag, (face, on_shims), 112, (238, 238), Some(face - 26));
    let tag = (Required, "Cover gasket free thickness");
    d.across(tag, (face, cover), 152, (192, 184), Some(cover + 190));
    d.label(Pieces, (cover + 30, 152), Side::Right, "Bearing cover gasket");
    let tag = (Measured, "Impeller clearance with no shims");
    d.across(tag, (bare, suction), 46, (216, 184), Some(bare - 24));
    let tag = (Required, "Impeller running clearance");
    d.across(tag, (front, suction), 98, (222, 184), Some(front - 28));
    d.name((140, 231), "housing");
    d.name((244, 337), "bearing");
    let at = d.either((cover + 27, 236), (cover + 38, 372));
    d.name(at, "cover");
    d
}

fn front_set_metric(said: Words) -> Drawing {
    let mut d = Drawing::new(
        said,
        "Semi-open impeller set from the front, shims under the housing flange (metric)",
        "where the flange stands at contact",
        520,
    );
    let (shims, step, clearance) = (42, 16, 18);
    let (cover, face) = (118, 596);
    let front = cover + clearance;
    let (land, rim) = (face + shims, face + shims + step);
    let contact = land - clearance;

    shaft(&mut d, front + 24, 860);
    suction_cover(&mut d, cover, -1, "front|cover");
    let casing = format!("M{cover},184 H310 V366 H282 V206 H{cover}");
    d.part(Fixed, &casing);
    impeller(&mut d, front, -1);
    // The mechanical seal: seat in the casing, rotary part on the shaft.
    d.block(Plain, (286, 368), (310, 398));
    d.block(Moving, (314, 364), (376, 402));
    // The frame, and the housing that slides in it.
    let frame = format!("M{face},192 V292 H430 V266 H310 V240 H560 V192");
    d.part(Fixed, &frame);
    let housing = format!("M466,294 H{land} V246 H{rim} V192 h44 V398 h-26 V334 H466");
    d.part(Fixed, &housing);
    d.bearing((486, 334), (542, 402));
    d.bearing((rim - 52, 334), (rim + 6, 402));
    d.block(Shim, (face, 250), (land, 290));
    d.block(Gasket, (face, 196), (rim, 240));
    d.ghost(Down, contact, 192, 300);

    let left = Some(face - 24);
    let tag = (Measured, "Flange gap with the impeller touching the front cover");
    d.across(tag, (face, contact), 44, (192, 192), left);
    let tag = (Pieces, "Shims under the housing flange");
    d.across(tag, (face, land), 96, (192, 250), left);
    let tag = (Measured, "Spigot step of the housing");
    d.across(tag, (land, rim), 103, (246, 192), Some(rim + 22));
    d.across((Pieces, "Flange gasket"), (face, rim), 156, (192, 192), left);
    d.line(Across, 156, rim, rim + 24, "", 1.0);
    let text = "Flange gasket free thickness";
    d.label(Required, (rim + 24, 156), Side::Right, text);
    let tag = (Required, "Impeller running clearance");
    d.across(tag, (cover, front), 138, (184, 222), Some(front + 28));
    d.name((345, 384), "seal");
    d.name((490, 266), "frame");
    d.name((566, 314), "housing");
    d
}

fn bearing_cap(said: Words) -> Drawing {
    let mut d = Drawing::new(
        said,
        "Bearing cap between two places for shims: end float and running clearance",
        "where the impeller stands with no inner shims",
        520,
    );
    let (bore, outer, spigot, width, inner) = (232, 22, 122, 90, 20);
    let float = bore + outer - spigot - width - inner;
    let (recess, clearance) = (16, 36);
    let face = 210;
    let (land, shoulder) = (face - outer, face + bore);
    let (nose, rim) = (land + spigot, land - recess);
    let bearing = nose + float;
    let held = bearing + width;
    let (front, suction) = (776, 776 + clearance);
    let (left, right) = (rim - 40, shoulder + 40);

    shaft(&mut d, 96, front - 24);
    let cap = format!("M{left},202 H{rim} V244 H{land} V282 H{nose} V318 H{land} V396 H{left}");
    d.part(Fixed, &cap);
    let housing = format!("M{face},202 h34 V236 H{right} V396 h-24 V326 H{shoulder} V280 H{face}");
    d.part(Fixed, &housing);
    d.bearing((bearing, 282), (held, 402));
    d.block(Shim, (held, 282), (shoulder, 322));
    d.block(Shim, (land, 248), (face, 278));
    d.block(Gasket, (rim, 205), (face, 239));
    stuffing_box(&mut d, 502);
    casing(&mut d, 632, suction);
    impeller(&mut d, front, 1);
    suction_cover(&mut d, suction, 1, "suction|cover");
    d.ghost(Down, front + inner, 216, 352);

    let end = left - 12;
    d.across((Pieces, "Outer shims"), (land, face), 40, (248, 202), Some(end));
    let tag = (Measured, "Recess of|the cap flange");
    d.across(tag, (rim, land), 100, (202, 244), Some(end));
    // Two labels on one line.
    d.dimension(Across, (rim, face), 182, (202, 202), Some(end + 4));
    d.line(Down, end + 4, 168, 239, "", 1.0);
    for (at, kind, text) in
        [(168, Pieces, "Bearing cap|gasket"), (239, Required, "Cap gasket|free thickness")]
    {
        d.line(Across, at, end, end + 4, "", 1.0);
        d.label(kind, (end, at), Side::Left, text);
    }
    let tag = (Measured, "Housing bore depth to shoulder");
    d.across(tag, (face, shoulder), 82, (202, 280), None);
    let tag = (Measured, "Cap spigot length");
    let end = Some(nose + d.either(14, 44));
    d.across(tag, (land, nose), 95, (244, 282), end);
    let tag = (Required, "Shaft end float");
    d.across(tag, (nose, bearing), 148, (282, 282), Some(bearing + 24));
    d.across((Measured, "Bearing width"), (bearing, held), 242, (282, 282), None);
    let tag = (Pieces, "Inner shims");
    d.across(tag, (held, shoulder), 201, (282, 280), Some(shoulder + 32));
    let tag = (Required, "Impeller running clearance");
    d.across(tag, (front, suction), 148, (222, 184), Some(front - 20));
    let tag = (Measured, "Impeller clearance with no inner shims");
    d.across(tag, (front + inner, suction), 97, (216, 184), Some(front - 4));
    d.name((left + 28, 360), "cap");
    d.name((284, 258), "housing");
    d.name((bearing + 45, 342), "bearing");
    d
}

fn thrust_collar(said: Words) -> Drawing {
    let mut d = Drawing::new(
        said,
        "Between-bearings pump, thrust collar centred by two packs (metric)",
        "on the bare pads, and at the far stop; chain line: mid-travel",
        520,
    );
    let (pads, collar, inboard, outboard, float) = (46, 54, 32, 28, 28);
    let stack = pads + collar + pads;
    let end = 196;
    let shimmed = end + outboard;
    let pushed = shimmed + float;
    let held = pushed + stack;
    let shoulder = held + inboard;
    let (travel, to_pads, wheel) = (150, 91, 64);
    let wall = 618;
    let (middle, far) = (wall + travel / 2, wall + travel);
    let bare = wall + to_pads;
    let stands = bare - inboard;

    shaft(&mut d, end + 12, 886);
    d.block(Fixed, (end - 48, 212), (end, AXIS));
    let right = shoulder + 36;
    let housing = format!("M{end},212 H{right} V396 H{shoulder} V250 H{end}");
    d.part(Fixed, &housing);
    d.block(Shim, (end, 284), (shimmed, 376));
    d.block(Plain, (pushed, 272), (pushed + pads, 388));
    d.block(Impeller, (pushed + pads, 262), (held - pads, AXIS));
    d.block(Plain, (held - pads, 272), (held, 388));
    d.block(Shim, (held, 284), (shoulder, 376));
    d.block(Fixed, (516, 300), (566, 336));
    d.bearing((516, 336), (566, 402));
    let (left, right) = (wall - 26, far + wheel + 26);
    let casing = format!("M{left},212 H{right} V396 h-26 V236 H{wall} V396 H{left}");
    d.part(Fixed, &casing);
    let outline = format!("M{stands},334 l22,-16 v-68 h20 v68 l22,16 V{AXIS} H{stands}");
    d.part(Impeller, &outline);
    d.ghost(Down, bare, 322, 402);
    d.ghost(Down, far, 322, 402);
    d.line(Down, middle, 240, 402, "18 4 3 4", 1.4);

    let tag = (Measured, "Thrust chamber length");
    d.across(tag, (end, shoulder), 64, (212, 250), None);
    let tag = (Measured, "Collar with both sets of pads");
    d.across(tag, (pushed, held), 120, (272, 272), None);
    let left = Some(end - 26);
    d.across((Pieces, "Outboard shims"), (end, shimmed), 106, (212, 284), left);
    let tag = (Required, "Total float|of the collar");
    d.across(tag, (shimmed, pushed), 168, (284, 272), left);
    let tag = (Pieces, "Inboard shims");
    d.across(tag, (held, shoulder), 172, (272, 250), Some(shoulder + 26));
    let tag = (Measured, "Rotor travel, thrust bearing out");
    d.across(tag, (wall, far), 64, (236, 322), None);
    let tag = (Measured, "Rotor travel to the|bare inboard pads");
    d.across(tag, (wall, bare), 112, (236, 322), Some(wall - 22));
    let tag = (Required, "Rotor off|centre");
    d.across(tag, (stands, middle), 162, (334, 240), Some(far + 14));
    let at = d.either((end - 24, 318), (end - 44, 318));
    d.name(at, "end|cover");
    let at = d.either((pushed + pads / 2, 322), (pushed + pads / 2 - 10, 352));
    d.name(at, "pads");
    d.name((pushed + stack / 2, 300), "collar");
    if !d.is_keyed() {
        d.name((held - pads / 2, 322), "pads");
    }
    d.name((shoulder - 60, 231), "housing");
    d.name((541, 318), "bearing");
    let at = d.either((stands + 32, 384), (stands + 32, 422));
    d.name(at, "impeller");
    let at = d.either((805, 224), (818, 224));
    d.name(at, "casing");
    d.note((20, AXIS + 26), "free end");
    let at = d.either(824, 770);
    d.note((at, AXIS + 26), "drive end");
    d
}

fn seal_setting(said: Words) -> Drawing {
    let mut d = Drawing::new(
        said,
        "Vertical in-line pump, shims in the rigid coupling: running clearance and seal setting",
        "with no shims",
        620,
    );
    /// The axis; corners are given by their distance from it, and drawn on both sides.
    const AT: i32 = 470;
    let (shims, seat, depth, clearance) = (22, 28, 68, 18);
    let (coupling, face, bearing) = (152, 274, 80);
    let (on_shims, seated) = (coupling + shims, face + seat);
    let shoulder = face + depth + shims;
    let (vanes, suction) = (470, 470 + clearance);

    let mut both = |part: Part, corners: String| {
        let corners: Vec<(i32, &str)> = corners
            .split(' ')
            .filter_map(|corner| corner.split_once(','))
            .filter_map(|(r, y)| Some((r.parse().ok()?, y)))
            .collect();
        let placed = |side: i32, &(r, y): &(i32, &str)| format!("{},{y}", AT + side * r);
        let right: Vec<String> = corners.iter().map(|c| placed(1, c)).collect();
        let left: Vec<String> = corners.iter().rev().map(|c| placed(-1, c)).collect();
        // What begins and ends on the axis is one piece.
        if corners.first().is_some_and(|(r, _)| *r == 0) {
            d.part(part, &format!("M{}", [right, left].concat().join(" L")));
        } else {
            d.part(part, &format!("M{}", right.join(" L")));
            d.part(part, &format!("M{}", left.join(" L")));
        }
    };
    let ring = |inner: i32, outer: i32, top: i32, bottom: i32| {
        format!("{inner},{top} {outer},{top} {outer},{bottom} {inner},{bottom}")
    };
    // Motor with its stand and its bearing, coupling, shaft.
    both(Fixed, format!("62,50 176,50 176,{face} 150,{face} 150,110 62,110"));
    both(Plain, ring(28, 62, bearing - 18, bearing + 18));
    let [above, below] = [bearing - 12, bearing + 12];
    both(Plain, format!("45,{above} 57,{bearing} 45,{below} 33,{bearing}"));
    both(Moving, ring(0, 28, 44, coupling));
    both(Moving, ring(0, 22, on_shims, vanes - 10));
    both(Impeller, ring(28, 80, 122, coupling));
    both(Shim, ring(0, 80, coupling, on_shims));
    both(Impeller, ring(22, 80, on_shims, on_shims + 32));
    // Gland with its seat, casing, rotary part of the seal, shoulder.
    both(Fixed, ring(28, 132, face - 20, face));
    both(Plain, ring(28, 60, face, seated));
    let chamber = format!("28,400 28,386 106,386 106,{face} 200,{face}");
    both(Fixed, format!("{chamber} 200,{suction} 172,{suction} 172,400"));
    both(Moving, ring(24, 56, seated, seated + 18));
    both(Plain, ring(30, 48, seated + 18, shoulder));
    both(Impeller, ring(22, 62, shoulder, shoulder + 14));
    let back = "0,412 40,412 56,424 150,424";
    both(Impeller, format!("{back} 150,{vanes} 60,{vanes} 36,486 0,486"));
    both(Fixed, ring(70, 200, suction, suction + 32));
    d.centre_line(Down, AT, 38, 536);
    d.ghost(Across, shoulder - shims, AT - 74, AT - 20);
    d.ghost(Across, vanes - shims, AT - 162, AT - 56);

    let near = AT - 224;
    d.dimension(Down, (coupling, on_shims), near, (AT - 80, AT - 80), None);
    let beside = (near - 8, coupling + shims / 2);
    d.label(Pieces, beside, Side::Left, "Shims in the coupling");
    d.dimension(Down, (face, seated), near, (AT - 132, AT - 60), Some(face - 32));
    let text = "Seat height below the gland face";
    let at = d.either((near - 70, face - 44), (near, face - 51));
    d.label(Measured, at, Side::Middle, text);
    let out = AT - 250;
    d.dimension(Down, (face, face + depth), out, (AT - 200, AT - 74), None);
    let text = "Chamber face to|sleeve shoulder,|no shims";
    d.label(Measured, (out - 8, face + depth / 2), Side::Left, text);
    let out = AT - 270;
    d.dimension(Down, (vanes - shims, suction), out, (AT - 162, AT - 200), None);
    let text = "Impeller clearance|with no shims";
    d.label(Measured, (out - 8, vanes - 2), Side::Left, text);
    let end = suction + 38;
    d.dimension(Down, (vanes, suction), near, (AT - 150, AT - 200), Some(end));
    let text = "Impeller running clearance";
    let at = d.either((near - 74, end + 11), (near, end + 19));
    d.label(Required, at, Side::Middle, text);
    let out = AT + 266;
    d.dimension(Down, (seated, shoulder), out, (AT + 60, AT + 62), None);
    let text = "Mechanical|seal setting";
    d.label(Required, (out + 8, face + 60), Side::Right, text);
    let out = AT + 236;
    d.dimension(Down, (bearing, vanes), out, (AT + 62, AT + 150), None);
    d.label(Thermal, (out, 170), Side::Middle, "Growth of|the shaft");
    let out = AT + 370;
    d.dimension(Down, (bearing, suction), out, (AT + 62, AT + 200), None);
    d.label(Thermal, (out, 170), Side::Middle, "Growth of|the casing");
    d.name((AT + 118, 80), "motor");
    let at = d.either((AT + 116, coupling + shims / 2), (AT + 90, 212));
    d.name(at, "coupling");
    let at = d.either((AT + 92, face - 34), (AT - 78, face - 38));
    d.name(at, "gland");
    let at = d.either((AT + 82, face + 50), (AT + 82, face + 42));
    d.name(at, "seal");
    let at = d.either((AT + 154, 340), (AT + 156, 360));
    d.name(at, "casing");
    d.name((AT, 449), "impeller");
    let at = d.either((AT + 135, suction + 16), (AT + 135, suction + 52));
    d.name(at, "suction cover");
    d
}
