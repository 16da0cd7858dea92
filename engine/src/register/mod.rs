//! Joining scans: by targets, and by surface from a near start.
