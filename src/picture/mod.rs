//! Pictures: from spots to luminance, from luminance to what a screen can show.
