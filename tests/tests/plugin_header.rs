//! The header for authors of plug-ins: of the source, laid out as in Rust, fit for every compiler, only growing.

use std::mem::offset_of;
use std::process::Command;

use fitwright_plugin_abi as abi;
use fitwright_tests::c::abi::{Abi, Change};
use fitwright_tests::c::build::{STRICT, compiler, succeeded};
use fitwright_tests::c::header::{PLUGIN, generate};
use fitwright_tests::c::matrix::{compiler_lays_out, compiles_in_every_standard};
use fitwright_tests::c::root;
use fitwright_tests::plugins::header_1_0;

#[test]
fn header_and_description_are_those_of_the_source() {
    PLUGIN.check("plugin_header");
}

#[test]
fn the_header_compiles_in_every_standard() {
    compiles_in_every_standard("fitwright_plugin.h", &root().join("include"));
}

#[test]
fn the_compiler_lays_structs_out_as_described() {
    let include = root().join("include");
    let asserts = compiler_lays_out("fitwright_plugin.h", &include, &PLUGIN.abi());
    assert!(asserts > 150, "only {asserts} assertions");
}

/// Name, size and places of the fields as the compiler of the engine has them.
macro_rules! layouts {
    ($($name:ident { $($field:ident),* $(,)? })*) => {
        [$((
            stringify!($name),
            size_of::<abi::$name>(),
            vec![$((stringify!($field), offset_of!(abi::$name, $field))),*],
        )),*]
    };
}

#[test]
fn structs_lie_in_rust_as_the_header_says() {
    let ours = layouts! {
        fitw_plugin_text { data, length }
        fitw_plugin_host { struct_size, version, host, name, log, ability }
        fitw_plugin_option {
            struct_size, sort, unit, reserved, name, description, standard, least, most
        }
        fitw_plugin_input {
            struct_size, has_pick, point_count, points_mm, normals, pick_mm, noise_mm, options,
            option_count, seed, resolution_mm
        }
        fitw_plugin_fitter {
            struct_size, shape, id, title, kind, minimum_points, options, option_count, data, fit
        }
        fitw_plugin_table { struct_size, version, id, fitters, fitter_count, ability }
        fitw_plugin_piece {
            struct_size, shape, extent, reserved, point_mm, direction, size_1, size_2, zero, pole,
            u_from, u_to, v_from, v_to, outline_mm, loop_sizes, loop_count
        }
        fitw_plugin_column { name, unit, reserved }
        fitw_plugin_call {
            struct_size, reserved, host, progress, cancelled, allocate, reason, number, point,
            direction, table, covariance, piece, rejected, note
        }
        fitw_plugin_fits { struct_size, reserved, fit }
        fitw_plugin_fitted {
            struct_size, shape, point_mm, direction, size_1, size_2, at_mm, covariance, rms_mm,
            sigma_mm, used_count
        }
        fitw_plugin_import { struct_size, reserved, importers, importer_count }
        fitw_plugin_importer {
            struct_size, reserved, id, title, extensions, extension_count, data, import
        }
        fitw_plugin_import_input { struct_size, reserved, path, chord_error_mm }
        fitw_plugin_part {
            struct_size, reserved, host, schema, solid, face, points, triangles, hole, chord_error
        }
        fitw_plugin_face {
            struct_size, shape, reversed, reserved, point_mm, direction, size_1, size_2
        }
        fitw_plugin_hole { struct_size, reserved, point_mm, axis, radius_mm, depth_mm }
    };
    let described = PLUGIN.abi().structs;
    assert_eq!(ours.len(), described.len(), "a struct is missing here");
    for (name, size, fields) in ours {
        let there = &described[name];
        assert_eq!(size, there.size, "{name}");
        let places: Vec<_> = there.fields.iter().map(|f| (f.name.as_str(), f.offset)).collect();
        assert_eq!(fields, places, "{name}");
    }
}

/// The generator does not see texts: they stand in its configuration.
#[test]
fn texts_are_those_of_the_source() {
    let constants = PLUGIN.abi().constants;
    assert_eq!(constants["FITW_PLUGIN_ENTRY"], format!("{:?}", abi::FITW_PLUGIN_ENTRY));
    assert_eq!(constants["FITW_PLUGIN_FITS"], format!("{:?}", abi::FITW_PLUGIN_FITS));
    assert_eq!(constants["FITW_PLUGIN_IMPORT"], format!("{:?}", abi::FITW_PLUGIN_IMPORT));
    assert!(PLUGIN.abi().functions.contains_key(abi::FITW_PLUGIN_ENTRY));
    let mut public = 0;
    for file in ["answer.rs", "fits.rs", "import.rs", "table.rs", "version.rs"] {
        let text = std::fs::read_to_string(root().join("plugins/abi/src").join(file));
        public += text.expect("a source").matches("pub const FITW_PLUGIN_").count();
    }
    assert_eq!(constants.len(), public, "a constant is missing in the header");
}

#[test]
fn the_example_in_the_header_compiles_as_printed() {
    let Some(cc) = compiler("CC", "cc") else { return };
    let text = std::fs::read_to_string(PLUGIN.file()).expect("the header");
    let lines = text.lines().skip_while(|l| !l.starts_with(" * Example "));
    let code: Vec<&str> = lines
        .skip_while(|l| !l.contains("#include"))
        .take_while(|l| !l.contains(" cc -std"))
        .map(|l| l.strip_prefix(" *").expect("a comment").trim_start_matches(' '))
        .collect();
    assert!(code.len() > 30 && code.last() == Some(&""), "{code:?}");
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("ball.c");
    std::fs::write(&file, code.join("\n")).expect("a file");
    let mut command = Command::new(cc);
    command.args(["-std=c11", "-fsyntax-only", "-I"]).arg(root().join("include"));
    succeeded(command.args(STRICT).arg(file));
}

#[test]
fn the_macros_serve_c_and_cpp() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("macros.c");
    let text = "#include <fitwright_plugin.h>\n\
        #ifdef __cplusplus\n#define CHECK(x) static_assert(x, #x)\n\
        #else\n#define CHECK(x) _Static_assert(x, #x)\n#endif\n\
        CHECK(FITW_PLUGIN_VERSION == 0x10002u && FITW_PLUGIN_OLDEST == 0x10000u);\n\
        CHECK(FITW_PLUGIN_UP_TO(fitw_plugin_input, seed) < sizeof(fitw_plugin_input));\n\
        CHECK(FITW_PLUGIN_UP_TO(fitw_plugin_input, resolution_mm) == sizeof(fitw_plugin_input));\n\
        const fitw_plugin_text name = FITW_PLUGIN_TEXT(\"width\");\n\
        int main(void) { return name.length == 5 && name.data[4] == 'h' ? 0 : 1; }\n";
    std::fs::write(&file, text).expect("a file");
    for (variable, usual, language, standard) in
        [("CC", "cc", "c", "-std=c11"), ("CXX", "c++", "c++", "-std=c++11")]
    {
        let Some(compiler) = compiler(variable, usual) else { continue };
        let program = folder.path().join(usual);
        let mut command = Command::new(compiler);
        command.args(["-x", language, standard]).args(STRICT).arg("-I");
        succeeded(command.arg(root().join("include")).arg(&file).arg("-o").arg(&program));
        succeeded(&mut Command::new(program));
    }
}

/// A program that was compiled with the first version's header stays right: nothing changed but what grew.
#[test]
fn today_s_interface_only_grew_since_1_0() {
    let first = std::fs::read_to_string(header_1_0()).expect("the header of 1.0");
    let first = Abi::read(&first).expect("a header of the known form");
    assert_eq!(first.version, (1, 0));
    let today = Abi::read(&generate(&PLUGIN)).expect("a header of the known form");
    let change = Change::between(&first.describe(), &today.describe());
    assert_eq!(change.refusal(first.version, today.version), None);
    let grown = change.added.iter().filter(|a| a.starts_with("grown: "));
    assert_eq!(grown.collect::<Vec<_>>(), ["grown: struct fitw_plugin_input"]);
    // What 1.2 brings is the ability to import, its structs, and a shape of faces only.
    let added = change.added.iter().filter_map(|a| a.strip_prefix("added: "));
    let added: Vec<&str> = added.collect();
    let import = ["IMPORT", "SHAPE_OTHER", "_import", "_part", "_face", "_hole"];
    assert!(added.iter().all(|a| import.iter().any(|i| a.contains(i))), "{added:?}");
    assert_eq!(added.len(), 8, "{added:?}");
}

#[test]
fn the_gate_sees_functions_within_structs() {
    let text = generate(&PLUGIN);
    let from = "int32_t (*cancelled)(const struct fitw_plugin_call *call);";
    assert!(text.contains(from));
    let read = |text: &str| Abi::read(text).expect("a header of the known form").describe();
    for to in ["int32_t (*cancelled)(struct fitw_plugin_call *call);", ""] {
        let change = Change::between(&read(&text), &read(&text.replacen(from, to, 1)));
        assert!(change.broken.iter().any(|b| b.contains("struct fitw_plugin_call")), "{change:?}");
    }
    // A column has no size of its own: it may not grow.
    let wider =
        text.replacen("} fitw_plugin_column;", "    double more;\n} fitw_plugin_column;", 1);
    let change = Change::between(&read(&text), &read(&wider));
    assert!(change.broken.iter().any(|b| b.contains("struct fitw_plugin_column")), "{change:?}");
}
