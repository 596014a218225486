//! `--description`: commands of a device type that the user has documentation for.

use super::mock::misread;
use super::open_line::OpenLine;
use super::output::Failure;
use crate::app::command::{Catalogue, Described};
use crate::bench::read_description;
use std::path::PathBuf;

/// The files of `--description`.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct DescriptionArgs {
    /// Read commands 128 to 253 of a device type as this file describes them (TOML; `looprig explain --schema` has
    /// every key). May be given several times, once for each type.
    #[arg(id = "descriptions", long = "description", value_name = "FILE")]
    pub files: Vec<PathBuf>,
}

impl DescriptionArgs {
    /// Reads all of them.
    ///
    /// # Errors
    /// One cannot be read, is wrong, or describes a type that another one describes.
    pub fn load(&self) -> Result<Catalogue, Failure> {
        let mut catalogue = Catalogue::default();
        for path in &self.files {
            let description = read_description(path).map_err(|e| misread(&e))?;
            catalogue
                .add(Described::load(description, &path.display().to_string()))
                .map_err(|e| clash(&e))?;
        }
        Ok(catalogue)
    }

    /// The same, with those that the bench of a `mock:` line names.
    ///
    /// # Errors
    /// As [`DescriptionArgs::load`].
    pub fn load_with(&self, line: &OpenLine) -> Result<Catalogue, Failure> {
        with_line(self.load()?, line)
    }
}

/// A catalogue with what the bench of a `mock:` line describes.
///
/// # Errors
/// It describes a type that the catalogue has otherwise.
pub fn with_line(mut catalogue: Catalogue, line: &OpenLine) -> Result<Catalogue, Failure> {
    if let OpenLine::Mock(mock) = line {
        catalogue.join(mock.catalogue()).map_err(|e| clash(&e))?;
    }
    Ok(catalogue)
}

fn clash(e: &crate::app::command::described::Clash) -> Failure {
    Failure::new("reading descriptions", e.to_string(), "give one of them")
}
