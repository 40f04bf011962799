//! Pages as PWG raster (PWG 5102.4), for printers that take no PDF.
