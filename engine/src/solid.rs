//! The only file that names the collision library.
