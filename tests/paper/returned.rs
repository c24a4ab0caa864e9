//! Lots that go back into the stock of the plates cut, counted again from the layouts and the kits.

use gapwright::cutting::Remnants;
use gapwright::length::{Length, Tolerance};
use gapwright::verify::Verified;

use crate::anew;
use crate::figures::{natural, raw, trimmed, with_unit};

/// A lot that goes back: pieces of one shape, or remnants of one size.
pub struct Returned {
    pub item: String,
    /// Plates that it is cut from.
    pub plate: usize,
    /// Fit code of pieces; `None` for a remnant.
    pub fit: Option<String>,
    pub sides: Option<[Length; 2]>,
    pub cost: i64,
    pub count: u32,
}

impl Returned {
    /// Its row of the stock workbook by headings, On hand left out.
    pub fn row(&self, verified: &Verified) -> Vec<(&'static str, String)> {
        let plate = &verified.job().plates[self.plate];
        let Tolerance { minus, plus } = plate.size.tolerance;
        assert_eq!(minus, plus, "plates here have even tolerances");
        let mut row = vec![
            ("Item", self.item.clone()),
            ("Kind", plate.kind.clone()),
            ("Thickness", stated(plate.size.thickness)),
            ("Tolerance", stated(plus)),
            ("Unit cost", format!("{}.{:06}", self.cost / 1_000_000, self.cost % 1_000_000)),
        ];
        row.extend(self.fit.clone().map(|fit| ("Fit", fit)));
        let sides =
            self.sides.into_iter().flat_map(|sides| ["Length", "Width"].into_iter().zip(sides));
        row.extend(sides.map(|(heading, side)| (heading, stated(side))));
        row.extend(plate.material.clone().map(|material| ("Material", material)));
        row
    }

    /// What it is, beside its plate.
    pub fn about(&self) -> String {
        match self.sides {
            None => "pieces that no kit takes".into(),
            Some([a, b]) => format!("remnant of {} x {}", stated(a), stated(b)),
        }
    }
}

/// A length with its unit and all its digits.
pub fn stated(length: Length) -> String {
    with_unit(raw(length), natural(length))
}

/// Pieces in the order of the stock, then remnants by lot and size.
pub fn lots(verified: &Verified) -> Vec<Returned> {
    let (job, plan) = (verified.job(), verified.plan());
    let mut lots = Vec::new();
    for (index, item) in job.stock.iter().enumerate() {
        let Some(cut) = item.cut else { continue };
        let plate = &job.plates[cut.plate];
        let mut count = 0;
        for layout in plan.layouts.iter().filter(|layout| layout.plate == cut.plate) {
            let run = plate.sides[layout.along].ticks() / cut.outside.ticks();
            let mine = layout.strips.iter().filter(|(item, _)| *item == index);
            count += mine.map(|(_, strips)| strips * run as u32).sum::<u32>();
        }
        count -= anew::taken(verified, index);
        let square = |side: Length| i128::from(side.ticks()) * i128::from(side.ticks());
        let area = i128::from(plate.sides[0].ticks()) * i128::from(plate.sides[1].ticks());
        // Pi of six places, a quarter of it, in billionths of the plate.
        let share = (square(cut.outside) - square(cut.inside)) * 3_141_592 * 1_000 / 4 / area;
        let cost = i128::from(plate.plate_cost.raw()) * share / 1_000_000_000;
        lots.push(Returned {
            item: format!("{}/{}", plate.item, item.fit.as_str()),
            plate: cut.plate,
            fit: Some(item.fit.as_str().to_string()),
            sides: None,
            cost: cost as i64,
            count,
        });
    }
    if job.policy.remnants == Remnants::BookedBack {
        lots.extend(remnants(verified));
    }
    lots.retain(|lot| lot.count > 0);
    lots
}

fn remnants(verified: &Verified) -> Vec<Returned> {
    let (job, plan) = (verified.job(), verified.plan());
    let mut found: Vec<(usize, [Length; 2])> = Vec::new();
    for layout in &plan.layouts {
        let plate = &job.plates[layout.plate];
        let (run, mut rest) = (plate.sides[layout.along], plate.sides[1 - layout.along]);
        for &(item, strips) in &layout.strips {
            let wide = job.stock[item].cut.unwrap().outside;
            rest = rest - wide * strips;
            let end = Length::from_ticks(run.ticks() % wide.ticks());
            found.extend((0..strips).map(|_| (layout.plate, [end.max(wide), end.min(wide)])));
        }
        found.push((layout.plate, [run.max(rest), run.min(rest)]));
    }
    found.retain(|(_, sides)| sides[1] > Length::ZERO);
    found.sort();
    let alike = found.chunk_by(|a, b| a == b).map(|alike| {
        let (plate, sides) = alike[0];
        let lot = &job.plates[plate];
        let area = |[a, b]: [Length; 2]| i128::from(a.ticks()) * i128::from(b.ticks());
        let cost = i128::from(lot.plate_cost.raw()) * area(sides) / area(lot.sides);
        Returned {
            item: format!("{}/{} x {}", lot.item, trimmed(sides[0]), trimmed(sides[1])),
            plate,
            fit: None,
            sides: Some(sides),
            cost: cost as i64,
            count: alike.len() as u32,
        }
    });
    alike.collect()
}

/// The plans here cut plates, and something goes back of them.
#[test]
fn something_goes_back() {
    let all = crate::outages::ALL.iter().map(|outage| lots(&outage.verified));
    let all: Vec<Returned> = all.flatten().collect();
    assert!(all.iter().any(|lot| lot.fit.is_some()) && all.iter().any(|lot| lot.sides.is_some()));
}
