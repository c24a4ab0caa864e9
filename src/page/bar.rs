//! Pictures of figures as SVG: attributes and classes only, since the page allows no style in its text.

use maud::{Markup, html};

use super::row::Predicted;

/// Width and height of a bar, in its own units.
const WIDTH: f64 = 180.0;
const HEIGHT: f64 = 24.0;
/// Share of the width from the left edge to the lower limit, and from the upper limit to the right edge.
const EDGE: f64 = 0.12;

/// A predicted value between its limits, with the guard that it keeps from them. Words say the figures too.
pub(super) fn predicted(of: &Predicted) -> Markup {
    let says = format!(
        "{} {}, limits {}, guard {}{}",
        of.label,
        of.value,
        of.limits,
        of.guards,
        if of.conforms { "" } else { ", NOT MET" }
    );
    let x =
        |share: f64| number((EDGE + share.clamp(-EDGE, 1.0 + EDGE) * (1.0 - 2.0 * EDGE)) * WIDTH);
    let middle = HEIGHT / 2.0;
    html! {
        svg.bar width=(WIDTH) height=(HEIGHT) viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label=(says) {
            @if let Some(at) = &of.shares {
                @let [low, high] = [0.0, 1.0].map(x);
                line.span x1=(low) x2=(high) y1=(middle) y2=(middle) {}
                @for (there, at) in at.limits.into_iter().zip([&low, &high]) {
                    @if there { line.limit x1=(at) x2=(at) y1="3" y2=(HEIGHT - 3.0) {} }
                }
                line.target x1=(x(at.target)) x2=(x(at.target)) y1="8" y2=(HEIGHT - 8.0) {}
                rect.guard x=(x(at.guard[0])) y="8" height=(HEIGHT - 16.0)
                    width=(number((at.guard[1].clamp(-EDGE, 1.0 + EDGE) - at.guard[0].clamp(-EDGE, 1.0 + EDGE)).max(0.0) * (1.0 - 2.0 * EDGE) * WIDTH)) {}
                @if of.conforms { circle.value cx=(x(at.value)) cy=(middle) r="4" {} }
                @else { path.value.bad d=(cross(at.value, middle)) {} }
            }
        }
    }
}

fn cross(share: f64, middle: f64) -> String {
    let at = (EDGE + share.clamp(-EDGE, 1.0 + EDGE) * (1.0 - 2.0 * EDGE)) * WIDTH;
    let [left, right] = [at - 4.0, at + 4.0].map(number);
    let [top, bottom] = [middle - 4.0, middle + 4.0].map(number);
    format!("M{left} {top}L{right} {bottom}M{right} {top}L{left} {bottom}")
}

/// Pieces of an item as one bar: planned, then left, then reserved.
pub(super) fn pieces(planned: u32, left: u32, reserved: u32) -> Markup {
    split(&[
        ("planned", planned, "planned"),
        ("left", left, "left"),
        ("reserved", reserved, "reserved"),
    ])
}

/// Counts as one bar, each with the class of its look and its word.
pub(super) fn split(counts: &[(&str, u32, &str)]) -> Markup {
    let all: f64 = counts.iter().map(|(_, count, _)| f64::from(*count)).sum();
    let unit = WIDTH / all.max(1.0);
    let says: Vec<String> =
        counts.iter().map(|(_, count, word)| format!("{count} {word}")).collect();
    let mut at = 0.0;
    html! {
        svg.pieces width=(WIDTH) height="18" viewBox=(format!("0 0 {WIDTH} 18")) role="img" aria-label=(says.join(", ")) {
            @for (class, count, _) in counts {
                @if *count > 0 {
                    rect class=(class) x=(number(at)) y="3" width=(number(f64::from(*count) * unit)) height="12" {}
                }
                @let () = at += f64::from(*count) * unit;
            }
        }
    }
}

/// Share of a whole as a bar.
pub(super) fn share(share: f64, label: &str) -> Markup {
    html! {
        svg.share width=(WIDTH) height="14" viewBox=(format!("0 0 {WIDTH} 14")) role="img" aria-label=(label) {
            rect.rest x="0" y="2" width=(WIDTH) height="10" {}
            rect.part x="0" y="2" width=(number(share.clamp(0.0, 1.0) * WIDTH)) height="10" {}
        }
    }
}

/// Number with one place.
pub(super) fn number(value: f64) -> String {
    format!("{value:.1}")
}
