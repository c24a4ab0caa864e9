//! Warns of gasket materials that are nearly known: a typing error would silently skip the check of their crush.

use itertools::Itertools;

use crate::model::Model;
use crate::problem::{Place, Problem, Problems, fix_name, nearest};

/// Material of a gasket in the stock, and its place.
pub(super) type OfGasket<'a> = (&'a str, &'a Place);

/// Warns of each unknown material whose name is close to that of a gasket material. Only a warning: shops have
/// materials of their own.
pub(super) fn check<'a>(
    gaskets: impl Iterator<Item = OfGasket<'a>>,
    models: &[Model],
    problems: &mut Problems,
) {
    let known = || models.iter().flat_map(|model| &model.materials);
    let gives_way: Vec<&str> = known()
        .filter(|material| material.compressibility.is_some())
        .map(|material| material.name.as_str())
        .collect();
    let same = |a: &str, b: &str| a.to_lowercase() == b.to_lowercase();
    let unknown = gaskets.filter(|(name, _)| !known().any(|m| same(&m.name, name)));
    for (name, place) in unknown.unique_by(|(name, _)| name.to_lowercase()) {
        if nearest(name, gives_way.iter().copied()).is_none() {
            continue;
        }
        let fix = fix_name(name, gives_way.iter().copied(), "");
        problems.warn(Problem::new(
            place.clone(),
            format!("the material `{name}`, which neither the models nor the materials table know"),
            "a gasket material that is known, or one of the shop's own",
            format!("{fix}; its crush is not checked"),
        ));
    }
}
