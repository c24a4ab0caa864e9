//! Thickness of the pieces of a row: as stated there, with the tolerance that a model may give.

use super::gauges::{self, Gauges, StatedUncertainty};
use super::table::{Heading, Off, TableRow};
use crate::decimal::Millionths;
use crate::length::{Length, Tolerance};
use crate::model::Model;
use crate::problem::{Place, Problem, Problems};
use crate::sheet::Cell;
use crate::stack::Coverage;
use crate::stock::{Size, ToleranceSource};

/// Thickness as stated; its tolerance may still come from a model's materials.
pub(super) struct Stated {
    pub(super) thickness: Option<Length>,
    /// Digits of it that the cell does not show.
    off: Option<Off>,
    tolerance: Option<Tolerance>,
    /// Column of the tolerance.
    column: Option<u32>,
    /// Whether the row states a tolerance, good or bad.
    tolerance_stated: bool,
    /// Uncertainty of the lot's mean, where it was measured.
    mean: Option<StatedUncertainty>,
    alike: Option<Millionths>,
    /// Gauge that it was measured with, and its place.
    gauge: Option<(String, Place)>,
    /// Place of a missing tolerance.
    place: Place,
    /// Place of the material, stated or not.
    pub(super) material: Place,
}

impl Stated {
    /// Reads a row; `thickness` is the column that must be filled, `None` for parts that are not stacked.
    pub(super) fn read(
        line: &TableRow<'_, '_>,
        thickness: Option<&Heading>,
        problems: &mut Problems,
    ) -> Stated {
        let heading = line.table.optional("Tolerance");
        let figure = thickness.and_then(|heading| line.needed_figure(heading, problems));
        let (size, off) = figure.map_or((None, None), |f| (Some(f.length), f.off));
        let tolerance = heading.and_then(|h| line.tolerance(h, problems));
        if let (Some(heading), Some(tolerance)) = (heading, tolerance)
            && tolerance == Tolerance::default()
        {
            problems.warn(Problem::new(
                line.place(heading),
                "a tolerance of 0",
                "how far a piece may lie from its thickness",
                "no piece is exact: measure some and state it",
            ));
        }
        if let (Some(heading), Some(size), Some(tolerance)) = (heading, size, tolerance)
            && tolerance.minus >= size
        {
            problems.add(Problem::new(
                line.place(heading),
                "a tolerance as large as the thickness itself",
                "a tolerance smaller than the thickness",
                "check the unit of both columns",
            ));
        }
        let filled = |name: &str| {
            line.table.optional(name).filter(|heading| line.row.cell(heading.column).is_some())
        };
        let mean = filled("Uncertainty").and_then(|h| gauges::stated(line, h, false, problems));
        for name in ["k", "Degrees of freedom"] {
            if let (Some(heading), None) = (filled(name), filled("Uncertainty")) {
                problems.add(Problem::new(
                    line.place(heading),
                    format!("{name} without an uncertainty"),
                    "the uncertainty of the lot's mean in the column Uncertainty",
                    "fill it in, or clear the cell",
                ));
            }
        }
        Stated {
            thickness: size,
            off,
            tolerance,
            column: heading.map(|heading| heading.column),
            tolerance_stated: heading.is_some_and(|h| line.row.cell(h.column).is_some()),
            mean,
            alike: filled("Alike").and_then(|h| alike(line, h, problems)),
            gauge: filled("Gauge")
                .and_then(|h| Some((line.text(Some(h), problems)?, line.place(h)))),
            place: match heading.or(thickness) {
                Some(heading) => line.place(heading),
                None => line.table.sheet.whole(),
            },
            material: match line.table.optional("Material") {
                Some(heading) => line.place(heading),
                None => line.table.sheet.whole(),
            },
        }
    }

    /// Size with its tolerance: the row's own, or the one that a model gives for the material.
    pub(super) fn settle(
        &self,
        item: &str,
        material: Option<&str>,
        (models, gauges, coverage): Known<'_>,
        problems: &mut Problems,
    ) -> Option<Size> {
        let thickness = self.thickness?;
        let tolerance =
            self.tolerance.or_else(|| material.and_then(|name| of_material(name, models)));
        if tolerance.is_none() && !self.tolerance_stated {
            problems.add(Problem::new(
                self.place.clone(),
                format!("no tolerance for item `{item}`"),
                "plus/minus on one piece",
                "fill in the Tolerance column, or give the material a plus_minus in the model file",
            ));
        }
        // A tenth of the tolerance is what no drawing would notice.
        if let (Some(off), Some(tolerance)) = (&self.off, tolerance)
            && off.by.ticks() * 10 > tolerance.minus.min(tolerance.plus).ticks()
        {
            problems.add(off.question.clone());
        }
        let gauge = match self.gauge.as_ref().zip(gauges) {
            Some(((name, place), gauges)) => Some(gauges.named(name, place.clone(), problems)?),
            None => None,
        };
        let mean = self.mean.as_ref();
        Some(Size {
            uncertainty: mean.map(|mean| coverage.certified(mean.standard, mean.freedom)),
            alike: self.alike,
            gauge,
            source: match (self.tolerance, self.column) {
                (Some(_), Some(column)) => ToleranceSource::Column(column),
                _ => ToleranceSource::Material,
            },
            ..Size::new(thickness, tolerance?)
        })
    }
}

/// Materials, gauges (where they are known) and coverage factor that complete a size.
pub(super) type Known<'a> = (&'a [Model], Option<&'a Gauges>, Coverage);

/// Share of the tolerance that is common to the pieces of a lot, 0 to 100 %.
fn alike(
    line: &TableRow<'_, '_>,
    heading: &Heading,
    problems: &mut Problems,
) -> Option<Millionths> {
    let share = line.share(heading, problems)?;
    let whole = (Millionths::ZERO..=Millionths::ONE).contains(&share);
    if !whole {
        problems.add(Problem::new(
            line.place(heading),
            format!("`{}`", line.row.cell(heading.column).map(Cell::show).unwrap_or_default()),
            "a share of 0 to 100 %",
            "type how much of the tolerance the pieces of the lot have in common, such as 80 %",
        ));
    }
    whole.then_some(share)
}

impl Stated {
    /// Whether a thickness has no tolerance, of its own or of its material. Where no pump asks for the item that is a
    /// warning, and true: nothing will be made of it.
    pub(super) fn is_left_out(
        &self,
        item: &str,
        material: Option<&str>,
        models: &[Model],
        problems: &mut Problems,
    ) -> bool {
        let of_material = || material.and_then(|name| of_material(name, models));
        let lacks = self.thickness.is_some()
            && !self.tolerance_stated
            && self.tolerance.or_else(of_material).is_none();
        if lacks {
            problems.warn(Problem::new(
                self.place.clone(),
                format!("no tolerance for item `{item}`, which no pump of this outage asks for"),
                "plus/minus on one piece",
                "fill it in before a pump asks for it; until then it goes into no pump",
            ));
        }
        lacks
    }
}

/// Tolerance that the models give for a material.
fn of_material(name: &str, models: &[Model]) -> Option<Tolerance> {
    let name = name.to_lowercase();
    let given = models.iter().flat_map(|m| &m.materials).filter(|m| m.name.to_lowercase() == name);
    // Where models differ, the wider one is the safe one.
    given
        .filter_map(|m| m.tolerance)
        .reduce(|a, b| Tolerance { minus: a.minus.max(b.minus), plus: a.plus.max(b.plus) })
}
