//! Finds models.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use super::material::{gather_materials, join};
use super::{BUILT_IN, DRAWINGS, parse_with};
use crate::model::{Material, Model};
use crate::problem::{Place, Problem, Problems, fix_name};
use crate::read::bounded;
use crate::read::drawing;
use crate::read::drawing::DrawingAt;

/// Materials table that comes with the program.
pub(super) const MATERIALS: &str = include_str!("../../../models/materials.toml");

/// Name of a materials table among the model files of a folder.
pub(super) const MATERIALS_NAME: &str = "materials";

/// Models by name: those of the given folder, then the built-in ones.
pub struct Library {
    /// Known materials, besides those that a model states itself.
    materials: Vec<Material>,
    /// The folder's own materials table, if there is one: file and hash.
    own_materials: Option<(String, String)>,
    /// Name to file and text; a folder's file outranks a built-in one of the same name.
    texts: BTreeMap<String, (String, String)>,
    /// Location of the drawing of a model, if it has one.
    drawings: BTreeMap<String, DrawingAt>,
}

impl Library {
    /// Opens the folder, if one was given.
    pub fn open(folder: Option<&Path>, problems: &mut Problems) -> Library {
        let mut texts: BTreeMap<String, (String, String)> = BUILT_IN
            .iter()
            .map(|(name, text)| {
                (name.to_string(), (format!("built-in {name}.toml"), text.to_string()))
            })
            .collect();
        let drawings = BUILT_IN.iter().zip(DRAWINGS);
        let drawings = drawings.map(|((name, _), (bytes, keyed))| {
            (name.to_string(), DrawingAt::BuiltIn(bytes, keyed))
        });
        let materials = gather_materials("built-in materials.toml", MATERIALS, problems);
        let mut library = Library {
            materials,
            own_materials: None,
            texts: BTreeMap::new(),
            drawings: drawings.collect(),
        };
        let Some(folder) = folder else {
            library.texts = texts;
            return library;
        };
        let trouble = |path: &Path, error: &dyn std::fmt::Display| {
            Problem::new(
                Place::file(&path.display().to_string()),
                format!("what cannot be read ({error})"),
                "a folder of model files (.toml, UTF-8)",
                "check the path given with --models",
            )
        };
        match fs::read_dir(folder) {
            Err(error) => problems.add(trouble(folder, &error)),
            Ok(entries) => {
                for path in entries.filter_map(|entry| Some(entry.ok()?.path())) {
                    let Some(name) = path.file_stem().map(|s| s.to_string_lossy().into_owned())
                    else {
                        continue;
                    };
                    if path.extension().is_none_or(|e| e != "toml") || bounded::is_shadow(&path) {
                        continue;
                    }
                    match bounded::text(&path, bounded::OF_MODEL) {
                        Ok(text) if name.eq_ignore_ascii_case(MATERIALS_NAME) => {
                            let file = path.display().to_string();
                            let own = gather_materials(&file, &text, problems);
                            // The first table that states a material's property wins.
                            library.materials = join(own, &library.materials);
                            let hash = crate::digest::sha256(text.as_bytes());
                            library.own_materials = Some((file, hash));
                        }
                        Ok(text) => {
                            // A built-in drawing does not show a shop's own model.
                            library.drawings.remove(&name);
                            if let Some(own) = drawing::beside(&path) {
                                library.drawings.insert(name.clone(), DrawingAt::File(own));
                            }
                            texts.insert(name, (path.display().to_string(), text));
                        }
                        Err(error) => problems.add(trouble(&path, &error)),
                    }
                }
            }
        }
        library.texts = texts;
        library
    }

    /// The folder's own materials table, if there is one: file and hash.
    pub(in crate::read) fn own_materials(&self) -> Option<&(String, String)> {
        self.own_materials.as_ref()
    }

    /// The names, sorted.
    pub fn names(&self) -> Vec<String> {
        self.texts.keys().cloned().collect()
    }

    /// The name as its file spells it, for a name typed in any case.
    pub fn exact(&self, name: &str) -> String {
        let found = self.texts.keys().find(|known| known.to_lowercase() == name.to_lowercase());
        found.cloned().unwrap_or_else(|| name.to_string())
    }

    /// Whether a model of this name exists, valid or not.
    pub fn knows(&self, name: &str) -> bool {
        self.texts.contains_key(name)
    }

    /// Problem of a name that no model has.
    pub fn unknown(&self, name: &str, place: Place) -> Problem {
        let names = self.names();
        let known = names.iter().map(String::as_str);
        Problem::new(
            place,
            format!("the model `{name}`, which is not known"),
            format!("one of {}", names.join(", ")),
            fix_name(name, known, "add its file to the folder given with --models"),
        )
    }

    /// Text of a model's file, or of the materials table.
    pub fn text_of(&self, name: &str) -> Option<&str> {
        match self.texts.get(name) {
            Some((_, text)) => Some(text),
            None => (name == MATERIALS_NAME).then_some(MATERIALS),
        }
    }

    /// File of a model.
    pub fn source_of(&self, name: &str) -> String {
        self.texts.get(name).map(|(file, _)| file.clone()).unwrap_or_default()
    }

    /// File of a model's drawing, if it is in the given folder.
    pub(in crate::read) fn drawing_file(&self, name: &str) -> Option<String> {
        match self.drawings.get(name)? {
            DrawingAt::BuiltIn(..) => None,
            DrawingAt::File(path) => Some(path.display().to_string()),
        }
    }

    /// Reads a model; its problems are added once, however often it is asked for.
    pub fn find(&self, name: &str, problems: &mut Problems) -> Option<Model> {
        let (file, text) = self.texts.get(name)?;
        match parse_with(name, file, text, &self.materials) {
            Ok((model, warnings)) => {
                warnings.into_iter().for_each(|warning| problems.warn(warning));
                let drawing = match self.drawings.get(name) {
                    Some(at) => Some(at.read(problems)?),
                    None => None,
                };
                Some(Model { drawing, ..model })
            }
            Err(found) => {
                problems.absorb(found);
                None
            }
        }
    }
}
