//! Practice scans with known truth: a physical model of strips, coat and scanner.
