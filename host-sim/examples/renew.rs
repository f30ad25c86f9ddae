//! Writes every generated file of the repository anew: `cargo renew`.
//!
//! An example, so that it builds even when the generated tables no longer compile.

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    match renew() {
        Ok(()) => ExitCode::SUCCESS,
        Err(sentence) => {
            eprintln!("error: {sentence}");
            ExitCode::from(2)
        }
    }
}

fn renew() -> Result<(), String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    for file in host_sim::generated::files()? {
        let path = root.join(&file.path);
        if std::fs::read_to_string(&path).is_ok_and(|old| old == file.text) {
            println!("as it was  {}", file.path);
            continue;
        }
        let folder = path.parent().ok_or_else(|| format!("{} has no folder", file.path))?;
        std::fs::create_dir_all(folder)
            .and_then(|()| std::fs::write(&path, &file.text))
            .map_err(|e| format!("{} cannot be written: {e}", file.path))?;
        println!("written    {}", file.path);
    }
    Ok(())
}
