//! The page: kit slips, labels and picking list as one file that prints on A4 and on Letter.
//!
//! Nothing in it is fetched and nothing runs: its policy lets in its own style, by hash, and pictures within it.

use std::collections::{BTreeMap, BTreeSet};

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::base64::base64;
use super::code::{QUIET, code, slip_code, slip_link, squares};
use super::grid::LabelGrid;
use super::slip::{
    ASSEMBLE, AskedReading, BagNeed, CAUTION, CHECK, CONSUMABLES, CompleteKit, DONE, DrawnFigure,
    EMPTY_PLACE, FilledPlace, KitSlip, MEASURED, NO_PIECES, PICK, PIECES, Phrase, REQUIREMENT, RUN,
    RequirementCheck, SIGNED, STAYS_OPEN, STOP, ShortWords, SlipBody, Slips, Span, each_reading,
};
use super::{ELSEWHERE, SlipChanges, label, list};
use crate::digest::sha256;
use crate::model::{Drawing, Figure, KeyedDrawing, LengthKind, Model};
use crate::outage::PlaceInOutage;
use crate::plain_text::cleaned;
use crate::plan::Kit;
use crate::verify::Verified;
use crate::words;

/// Parts of the page.
#[derive(Debug, Clone, PartialEq)]
pub struct PaperParts {
    /// Whether the kit slips are on it.
    pub slips: bool,
    /// Whether each drawing has a page of its own after its slip, where its words are large enough to be read.
    pub large_drawings: bool,
    /// Grid of the bag labels, if they are on it.
    pub labels: Option<LabelGrid>,
    /// Whether the picking list is on it.
    pub picking: bool,
}

/// A plan to print.
#[derive(Debug, Clone, Copy)]
pub struct PrintedPlan<'a> {
    /// The plan.
    pub verified: &'a Verified,
    /// Day to print.
    pub date: &'a str,
    /// Place in a running outage, if the plan is part of one.
    pub place: Option<&'a PlaceInOutage>,
    /// Indices of the pumps to print; all if none are named.
    pub pumps: Option<&'a BTreeSet<usize>>,
    /// Changes since an older plan, for a page of their own before the rest.
    pub changes: Option<&'a SlipChanges>,
    /// Reasons of short pumps as the plan stated them, by index, where the plan that was read has them only in words.
    pub shorts: Option<&'a BTreeMap<usize, Vec<ShortWords>>>,
}

/// The page as it is sent or written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PaperPage {
    /// The whole file.
    pub html: String,
    /// Its content security policy, which stands in it too.
    pub policy: String,
    /// Number of slips on it.
    pub slips: usize,
    /// Number of labels on it.
    pub labels: usize,
}

/// Writes the page.
///
/// # Example
///
/// ```
/// use gapwright::choose::{choose, control::Control};
/// use gapwright::paper::{PaperParts, PrintedPlan, page};
/// use gapwright::read::{self, Sources};
/// use gapwright::verify::verify;
///
/// # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR"))?;
/// let [stock, pumps] = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
/// let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
/// let job = read::job(&sources).expect("the sample has no problems");
/// let plan = choose(&job, &Control::unlimited())?;
/// let verified = verify(job, plan).expect("the checker agrees");
///
/// let plan = PrintedPlan { verified: &verified, date: "2027-03-01", place: None, pumps: None, changes: None, shorts: None };
/// let parts = PaperParts { slips: true, large_drawings: false, labels: None, picking: false };
/// let page = page(&plan, &parts);
/// assert_eq!(page.slips, 3);
/// assert!(page.html.contains("ACCEPT"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn page(plan: &PrintedPlan<'_>, parts: &PaperParts) -> PaperPage {
    let slips = Slips { verified: plan.verified, place: plan.place };
    let code = plan.verified.planned().id();
    let own = |index: &usize| plan.pumps.is_none_or(|pumps| pumps.contains(index));
    let numbered: Vec<(usize, usize)> =
        slips.numbered().into_iter().filter(|(_, index)| own(index)).collect();
    let printer = Printer { plan, slips: &slips, code: &code };
    let kitted = |index: usize| matches!(plan.verified.plan().kits[index], Kit::Served(_));
    let with_bag: Vec<(usize, usize)> =
        numbered.iter().copied().filter(|(_, index)| kitted(*index)).collect();
    let printed_slips: Vec<KitSlip<'_>> = match parts.slips {
        true => numbered
            .iter()
            .map(|&(number, index)| slips.slip_as_stated(number, index, plan.shorts))
            .collect(),
        false => Vec::new(),
    };
    let style = style(parts.labels.as_ref()) + &drawings(&printed_slips, parts.large_drawings);
    let policy = policy(&style);
    let labels = if parts.labels.is_some() { with_bag.len() } else { 0 };
    let html = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                link rel="icon" href="data:,";
                title { (printer.title()) }
                style { (PreEscaped(style)) }
            }
            body {
                (printer.hint(parts, printed_slips.len(), labels))
                (defs(&printed_slips, parts.large_drawings))
                main {
                    @if let Some(changes) = plan.changes { (printer.changes(changes)) }
                    @for slip in &printed_slips {
                        (printer.slip_page(slip, parts.large_drawings))
                        @if parts.large_drawings { (printer.drawing_page(slip)) }
                    }
                    @if let Some(grid) = &parts.labels { (printer.labels(grid, &with_bag)) }
                    @if parts.picking { (list::picking(plan, &printer.running("Picking list", None))) }
                }
            }
        }
    };
    PaperPage { html: html.into_string(), policy, slips: printed_slips.len(), labels }
}

/// The style with the measures of the labels.
fn style(grid: Option<&LabelGrid>) -> String {
    let mut style = include_str!("paper.css").to_string();
    for points in 9..=40 {
        style.push_str(&format!(".t{points}{{font-size:{points}pt}}\n"));
    }
    if let Some(LabelGrid {
        count: [columns, _],
        size: [width, height],
        margin: [left, top],
        gap,
    }) = grid
    {
        let [across, down] = gap;
        // A code stays as small as a scanner reads from a hand's breadth, and leaves the words their room.
        let code = (height - 9.0).min(width * 0.33).min(24.0);
        style.push_str(&format!(
            ".labels{{grid-template-columns:repeat({columns},{width}mm);grid-auto-rows:{height}mm;column-gap:{across}mm;row-gap:{down}mm;padding:{top}mm 0 0 {left}mm}}\n.label svg.qr{{width:{code}mm;height:{code}mm}}\n",
        ));
    }
    style
}

/// Lets in this style and pictures within the page, and nothing else.
fn policy(style: &str) -> String {
    let hex = sha256(style.as_bytes());
    let digit = |at: usize| hex.get(at..at + 2).and_then(|two| u8::from_str_radix(two, 16).ok());
    let bytes: Vec<u8> = (0..hex.len()).step_by(2).filter_map(digit).collect();
    format!(
        "default-src 'none'; style-src 'sha256-{}'; img-src data:; base-uri 'none'; form-action 'none'",
        base64(&bytes)
    )
}

/// The drawings of the models, each once.
fn defs(slips: &[KitSlip<'_>], large: bool) -> Markup {
    let models: BTreeMap<usize, &Drawing> = slips
        .iter()
        .filter(|slip| matches!(slip.body, SlipBody::Complete(_)))
        .filter_map(|slip| Some((slip.pump.model, slip.model.drawing.as_ref()?)))
        .collect();
    html! {
        @if !models.is_empty() {
            svg.defs aria-hidden="true" focusable="false" {
                @for (index, drawing) in &models {
                    @match drawing.keyed.filter(|_| !large) {
                        Some(KeyedDrawing { svg, size: [width, height] }) => {
                            symbol id={ "drawing-" (index) } viewBox={ "0 0 " (width) " " (height) } { (PreEscaped(svg)) }
                        }
                        None => {
                            symbol id={ "drawing-" (index) } viewBox={ "0 0 " (drawing.width) " " (drawing.height) } {
                                image width=(drawing.width) height=(drawing.height) href=(data(&drawing.bytes)) {}
                            }
                        }
                    }
                }
            }
        }
    }
}

fn data(bytes: &[u8]) -> String {
    let kind = if bytes.starts_with(b"\x89PNG") { "png" } else { "jpeg" };
    format!("data:image/{kind};base64,{}", base64(bytes))
}

/// A text of an input: characters that no page can hold are shown as their pictures.
fn t(text: &str) -> Markup {
    html! { (cleaned(text)) }
}

/// A plan while it is printed.
struct Printer<'a> {
    plan: &'a PrintedPlan<'a>,
    slips: &'a Slips<'a>,
    code: &'a str,
}

impl<'a> Printer<'a> {
    fn title(&self) -> String {
        format!("Kit slips, plan {}, {}", self.code, self.plan.date)
    }

    /// How to print it, on the screen alone.
    fn hint(&self, parts: &PaperParts, slips: usize, labels: usize) -> Markup {
        let count = |count: usize, what: &str| {
            words::counted(i64::try_from(count).unwrap_or(i64::MAX), what)
        };
        html! {
            header.hint {
                h1 { (self.title()) }
                p {
                    @if parts.slips { (count(slips, "slip")) ", one pump a page. " }
                    @if parts.labels.is_some() { (count(labels, "label")) ". " }
                    @if parts.picking { "Picking list. " }
                    "Print on A4 or Letter at 100 % (actual size)."
                    @if parts.labels.is_some() {
                        " Labels: hold a first print on plain paper against the sheet before you use it."
                    }
                }
            }
        }
    }

    /// Line at the head of every printed page.
    fn running(&self, of: &str, code: Option<&str>) -> Markup {
        html! {
            div.running {
                b { (t(of)) }
                span.whole { "Plan " (self.code) }
                @if let Some(code) = code { span { "Code: " (t(code)) } }
                @if let Some(place) = self.plan.place { span { (t(&place.words())) } }
                span.whole { (self.plan.date) }
            }
        }
    }

    /// Slips to tear up and slips that stay true.
    fn changes(&self, changes: &SlipChanges) -> Markup {
        let tags = |tags: &[String]| match tags.is_empty() {
            true => "none".to_string(),
            false => cleaned(&tags.join(", ")).into_owned(),
        };
        let pumps = &self.plan.verified.job().pumps;
        let print: Vec<String> =
            changes.printed.iter().map(|&index| pumps[index].tag.clone()).collect();
        html! {
            section.sheet aria-labelledby="changes" {
                (self.running("Slips that changed", None))
                h1 id="changes" { "Slips that changed since plan " (changes.since) }
                div.big {
                    h2 { "New slips" }
                    p { (tags(&print)) }
                    h2 { "Tear up these slips and labels of plan " (changes.since) }
                    p.stop { (tags(&changes.tear_up)) }
                    h2 { "These slips of plan " (changes.since) " stay true" }
                    p { (tags(&changes.stay)) }
                    @if !changes.elsewhere.is_empty() {
                        h2 { (ELSEWHERE) }
                        p { (tags(&changes.elsewhere)) }
                    }
                }
            }
        }
    }

    fn slip_page(&self, slip: &KitSlip<'_>, large_drawings: bool) -> Markup {
        let tag = &slip.pump.tag;
        let id = format!("slip-{}", slip.number);
        let text = slip_code(self.code, slip.in_outage(self.plan.place), tag);
        let scanned = match self.plan.verified.job().policy.page_address.as_str() {
            "" => text.clone(),
            address => slip_link(address, &text),
        };
        html! {
            article.sheet aria-labelledby=(id) {
                table.page role="presentation" {
                    thead { tr { td { (self.running(&format!("{tag}: {}", slip.kit), Some(&text))) } } }
                    tbody { tr { td { div.slip {
                        div.head {
                            div {
                                h1 id=(id) { (slip.kit) ": pump " b class=(fitted(tag, 300.0, 26)) { (t(tag)) } }
                                p { (t(&slip.model.title)) }
                                p.facts { (t(&slip.facts)) }
                                @if let Some(bag) = &slip.bag { p.strong { (t(bag)) } }
                                @if let Some(again) = &slip.again { p.alarm { (t(again)) "." } }
                                @if matches!(slip.body, SlipBody::Complete(_)) {
                                    (measured(slip, &Keys::on(slip, large_drawings)))
                                }
                            }
                            div.code { (qr(&scanned)) }
                        }
                        @match &slip.body {
                            SlipBody::Complete(kit) => (complete(slip, kit, large_drawings)),
                            SlipBody::Short { reasons, cautions } => (short(slip, reasons, cautions)),
                        }
                    } } } }
                }
            }
        }
    }

    /// The drawing of a kit on a page of its own.
    fn drawing_page(&self, slip: &KitSlip<'_>) -> Markup {
        let (SlipBody::Complete(kit), Some(drawing)) = (&slip.body, &slip.model.drawing) else {
            return html! {};
        };
        let tag = &slip.pump.tag;
        let id = format!("drawing-of-{}", slip.number);
        html! {
            section.sheet.large aria-labelledby=(id) {
                (self.running(&format!("{tag}: {}", slip.kit), None))
                h2 id=(id) { (t(&slip.title())) }
                (drawn(slip, drawing, &kit.figures))
            }
        }
    }

    /// Labels in their grid, sheet by sheet.
    fn labels(&self, grid: &LabelGrid, kitted: &[(usize, usize)]) -> Markup {
        let plain = *grid == LabelGrid::default();
        let room = (grid.size[0] - 9.0) * 72.0 / 25.4;
        html! {
            @for sheet in kitted.chunks(grid.on_a_sheet()) {
                section.labels.cut[plain] aria-label="Labels" {
                    @for &(number, index) in sheet { (self.label(number, index, room)) }
                }
            }
        }
    }

    fn label(&self, number: usize, index: usize, room: f64) -> Markup {
        let tag = &self.plan.verified.job().pumps[index].tag;
        let kit = self.slips.kit(tag, number);
        let lines = label::lines((self.plan.verified, self.plan.place), index, kit, self.code);
        html! {
            article.label {
                div {
                    (qr(&code(self.code, tag)))
                    h2 class=(fitted(tag, room * 0.62, 22)) { (t(&lines.tag)) }
                    p.strong { (lines.kit) }
                    p { (lines.facts) }
                    p { (t(&lines.location)) }
                    p { (t(&lines.pieces)) }
                }
                p.foot {
                    (lines.plan)
                    @if !lines.missing.is_empty() { " " b { (lines.missing) } }
                }
            }
        }
    }
}

/// Class of the largest letters, at most so many points, in which a text goes on a line so many points long.
fn fitted(text: &str, room: f64, most: u32) -> String {
    let letters = u32::try_from(text.chars().count().max(1)).unwrap_or(u32::MAX);
    // Capitals and digits of the usual fonts are about two thirds as wide as they are high.
    let fits = room / (0.68 * f64::from(letters));
    let size = (9..=most).rev().find(|points| f64::from(*points) <= fits).unwrap_or(9);
    format!("t{size}")
}

/// A text as a code that a scanner reads.
fn qr(text: &str) -> Markup {
    let Some(code) = squares(text) else {
        return html! { p.small { "The tag is too long for a code." } };
    };
    let side = code.width + 2 * QUIET;
    let square =
        |[row, column]: &[usize; 2]| format!("M{} {}h1v1h-1z", column + QUIET, row + QUIET);
    let path: String = code.dark.iter().map(square).collect();
    html! {
        svg.qr role="img" aria-label={ "Code: " (cleaned(text)) } viewBox={ "0 0 " (side) " " (side) } {
            rect width=(side) height=(side) fill="#fff" {}
            path d=(path) fill="#000" {}
        }
    }
}

/// A phrase with its figures large.
fn phrase(phrase: &Phrase) -> Markup {
    html! {
        @for span in &phrase.0 {
            @match span {
                Span::Plain(text) => (t(text)),
                Span::Word(text) => { span.word { (t(text)) } },
                Span::Figure(text) => { span.fig { (t(text)) } },
                Span::Range(text) => { span.range { (t(text)) } },
            }
        }
    }
}

/// A heading per column; an empty one belongs to the column before it.
fn heads(heads: &[&str]) -> Markup {
    html! {
        tr {
            @for (at, head) in heads.iter().enumerate().filter(|(_, head)| !head.is_empty()) {
                @let columns = 1 + heads[at + 1..].iter().take_while(|head| head.is_empty()).count();
                th scope="col" colspan=[(columns > 1).then_some(columns)] { (head) }
            }
        }
    }
}

fn tick() -> Markup {
    html! { td.tick { i role="img" aria-label="box to tick" {} } }
}

fn complete(slip: &KitSlip<'_>, kit: &CompleteKit, large_drawings: bool) -> Markup {
    let unit = each_reading(slip.model.unit);
    let drawing = slip.model.drawing.as_ref().filter(|_| !large_drawings);
    let keys = Keys::on(slip, large_drawings);
    html! {
        h2 { (PICK) }
        table.list.cols {
            thead { (heads(&PIECES)) }
            @for place in &kit.places { tbody { (pieces(place, &keys.of(&place.label))) (pack(place, &unit)) } }
        }
        @if !kit.needs.is_empty() { (consumables(&kit.needs)) }
        h2 { (ASSEMBLE) }
        @match drawing.map(|drawing| (drawing, drawing.keyed)) {
            // Text that is longer than the drawing is high goes on below it.
            Some((_, Some(keyed))) => {
                div.around {
                    (keyed_drawing(slip, keyed))
                    (cautions(&kit.before))
                    (keys.thermals())
                    (before_closing(kit))
                }
            }
            Some((drawing, None)) => {
                div.work { (drawn(slip, drawing, &kit.figures)) div { (cautions(&kit.before)) } }
                (before_closing(kit))
            }
            None => { (cautions(&kit.before)) (before_closing(kit)) }
        }
        table.list {
            thead { (heads(&[REQUIREMENT[0], REQUIREMENT[1], REQUIREMENT[3], REQUIREMENT[5]])) }
            @for check in &kit.checks {
                tbody {
                    (requirement(check, &keys.of(&check.label)))
                    @if let Some(asked) = &check.asked { (clearance(asked, &unit)) }
                }
            }
        }
        @if let Some(text) = kit.no_blades { p.small { (text) } }
        @if let Some(text) = &kit.growths { p { (t(text)) } }
        (signed())
        h2 { (RUN) }
        div.two { (cautions(&kit.running)) }
    }
}

/// Heading and cautions of the check.
fn before_closing(kit: &CompleteKit) -> Markup {
    html! { div.beside { h2 { (CHECK) } (cautions(&kit.checking)) } }
}

/// Readings of the pump on one line after another.
fn measured(slip: &KitSlip<'_>, keys: &Keys<'_>) -> Markup {
    html! {
        div.measured {
            h2 { (MEASURED) }
            ul { @for ([label, value], of) in slip.measured.iter().zip(&slip.model.dimensions) { li { (keys.of(&of.label)) (t(label)) " " b { (value) } } } }
        }
    }
}

/// Rows of the pieces of a place.
fn pieces(place: &FilledPlace, key: &Markup) -> Markup {
    let rows =
        place.pieces.len() + place.pieces.iter().filter(|piece| piece.work.is_some()).count();
    html! {
        @if place.pieces.is_empty() {
            tr { th scope="row" { (key) (t(&place.label)) } td colspan="7" { (EMPTY_PLACE) } }
        }
        @for (at, piece) in place.pieces.iter().enumerate() {
            tr {
                @if at == 0 { th scope="rowgroup" rowspan=(rows) { (key) (t(&place.label)) } }
                td.strong { (t(&piece.item)) }
                td.num { span.count { (piece.count) } }
                @match &piece.thickness {
                    Some([own, other, _]) => { td.strong { (own) } td { (other) } },
                    None => { td {} td {} },
                }
                td.strong { (t(&piece.bin)) }
                (tick()) (tick())
            }
            @if let Some(work) = &piece.work {
                tr { td.strong colspan="5" { (t(work)) } td.tick colspan="2" { (DONE) " " i role="img" aria-label="box to tick" {} } }
            }
        }
    }
}

/// Reading of the finished pack.
fn pack(place: &FilledPlace, cells: &[String; 2]) -> Markup {
    html! {
        @for warning in &place.warnings { tr { td colspan="8" { p.alarm { (t(warning)) } } } }
        @if let Some((reading, stop)) = place.reading.as_ref().zip(place.stop()) {
            tr { td.asked colspan="8" { div.ask {
                div { p { (phrase(reading)) } " " (stopped(stop)) }
                (readings(cells))
            } } }
        }
    }
}

fn stopped(so: &str) -> Markup {
    html! { p.stop { b { (STOP) } " " (so) } }
}

fn readings(labels: &[String; 2]) -> Markup {
    html! { @for label in labels { div.cell { (label) } } }
}

fn consumables(needs: &[BagNeed]) -> Markup {
    html! {
        table.list.cols {
            thead { (heads(&CONSUMABLES)) }
            tbody {
                @for need in needs {
                    @for piece in &need.pieces {
                        tr {
                            th scope="row" { (t(&need.kind)) }
                            td.strong { (t(&piece.item)) }
                            td.num { span.count { (piece.count) } }
                            td { (t(&piece.fit)) }
                            td { (piece.ring_length) }
                            td.strong { (t(&piece.bin)) }
                            (tick()) (tick())
                        }
                    }
                    @if let Some(missing) = &need.missing {
                        tr { td colspan="8" { p.alarm { (t(missing)) } } }
                    }
                }
            }
        }
    }
}

fn cautions(texts: &[String]) -> Markup {
    html! {
        @if !texts.is_empty() {
            ul.cautions { @for text in texts { li { (CAUTION) " " (t(text)) } } }
        }
    }
}

fn requirement(check: &RequirementCheck, key: &Markup) -> Markup {
    html! {
        tr {
            th scope="row" { (key) (t(&check.label)) }
            td { (check.target) } td { (check.limits) } td { (check.predicted) }
        }
        @if let Some(text) = &check.nominal_only { tr { td colspan="4" { p.alarm { (t(text)) } } } }
        @if let Some(text) = check.in_service { tr { td colspan="4" { (text) } } }
    }
}

/// Accepted readings of a clearance.
fn clearance(asked: &AskedReading, cells: &[String; 2]) -> Markup {
    html! {
        tr { td.asked colspan="4" { div.ask.accept {
            div {
                p { (phrase(&asked.range)) }
                (stopped(asked.stop()))
                @if let Some(text) = asked.unknown_growth { p.alarm { (text) } }
                @if let Some(text) = &asked.any_growth { p { (t(text)) } }
            }
            (readings(cells))
        } @if let Some(text) = &asked.blades { p { (t(text)) } } } }
    }
}

fn signed() -> Markup {
    html! { div.sign { @for label in SIGNED { p { (label) } } } }
}

fn short(slip: &KitSlip<'_>, reasons: &[ShortWords], texts: &[String]) -> Markup {
    let [first, second] = each_reading(slip.model.unit);
    html! {
        p.notfit { (words::NOT_FIT) }
        div.big {
            @for line in reasons.iter().flat_map(ShortWords::lines) { p { (t(&line)) } }
            p.stop { (NO_PIECES) }
        }
        h2 { (MEASURED) }
        table.list.again {
            thead { tr {
                th scope="col" { "Dimension" }
                th scope="col" { "Reading" }
                th scope="col" { "Measured again, " (first) }
                th scope="col" { "Measured again, " (second) }
            } }
            tbody {
                @for [label, value] in &slip.measured {
                    tr { th scope="row" { (t(label)) } td { (value) } td.cell {} td.cell {} }
                }
            }
        }
        (signed())
        h2 { (STAYS_OPEN) }
        div.big { (cautions(texts)) }
    }
}

/// The drawing with letters.
fn keyed_drawing(
    slip: &KitSlip<'_>,
    KeyedDrawing { size: [width, height], .. }: KeyedDrawing,
) -> Markup {
    html! {
        svg.keyed role="img" aria-label={ "Drawing: " (cleaned(&slip.model.title)) } viewBox={ "0 0 " (width) " " (height) } {
            use href={ "#drawing-" (slip.pump.model) } width=(width) height=(height) {}
        }
    }
}

/// Letter that a length has on the drawing, where that has letters: beside its label.
struct Keys<'a>(Option<&'a Model>);

impl<'a> Keys<'a> {
    fn on(slip: &KitSlip<'a>, large_drawings: bool) -> Keys<'a> {
        let drawing = slip.model.drawing.as_ref().filter(|_| !large_drawings);
        let is_keyed = drawing.is_some_and(|drawing| drawing.keyed.is_some());
        Keys(is_keyed.then_some(slip.model))
    }

    /// Letter of a length by its label in the model; one that is not drawn has none.
    fn of(&self, label: &str) -> Markup {
        let mut lengths = self.0.into_iter().flat_map(Model::lengths).zip('A'..='Z');
        let Some(((kind, ..), letter)) = lengths.find(|((.., of), _)| *of == label) else {
            return html! {};
        };
        let class = match kind {
            LengthKind::Measured => "key measured",
            LengthKind::Thermal => "key thermal",
            LengthKind::Pieces => "key pieces",
            LengthKind::Required => "key required",
        };
        html! { b class=(class) { (letter) } " " }
    }

    /// Thermal terms, which have no line of their own on the slip.
    fn thermals(&self) -> Markup {
        let lengths = self.0.into_iter().flat_map(Model::lengths);
        let mut all = lengths.filter(|(kind, ..)| *kind == LengthKind::Thermal).peekable();
        html! {
            @if all.peek().is_some() {
                p.terms { @for (.., label) in all { span { (self.of(label)) (t(label)) } } }
            }
        }
    }
}

/// The drawing with the figures of the pump, which keep their size whatever room there is for it.
fn drawn(slip: &KitSlip<'_>, drawing: &Drawing, figures: &[DrawnFigure]) -> Markup {
    let model = slip.pump.model;
    html! {
        div class={ "room r" (model) } { div class={ "picture m" (model) } {
            svg role="img" aria-label={ "Drawing: " (cleaned(&slip.model.title)) }
                viewBox={ "0 0 " (drawing.width) " " (drawing.height) } {
                use href={ "#drawing-" (model) } width=(drawing.width) height=(drawing.height) {}
            }
            @for figure in figures { b class={ "f" (figure.number) } { (figure.text) } }
        } }
    }
}

/// Places of the drawings and of the figures on them: no element has a style of its own.
fn drawings(slips: &[KitSlip<'_>], large: bool) -> String {
    let mut style = String::new();
    let models: BTreeMap<usize, (&Drawing, &[Figure])> = slips
        .iter()
        .filter_map(|slip| {
            let drawing =
                slip.model.drawing.as_ref().filter(|drawing| large || drawing.keyed.is_none())?;
            Some((slip.pump.model, (drawing, &slip.model.figures[..])))
        })
        .collect();
    for (model, (drawing, figures)) in models {
        let [width, height] = [drawing.width.max(1), drawing.height.max(1)];
        style.push_str(&format!(
            ".m{model}{{aspect-ratio:{width}/{height};width:min(100%,100cqh*{width}/{height})}}\n.r{model}{{min-height:min(74mm,98mm*{height}/{width})}}\n"
        ));
        for (number, figure) in figures.iter().enumerate() {
            let [left, top] = figure.at.map(|share| f64::from(share) / 1e4);
            style.push_str(&format!(".m{model} .f{number}{{left:{left}%;top:{top}%}}\n"));
        }
    }
    style
}
