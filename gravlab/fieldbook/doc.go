// Package fieldbook reads the files of a gravity survey: the meter's readings, the
// points, the terrain, the ties, the calibration, and the choices that were made.
//
// [Read] reads them all, compares them with each other and returns a [Book], or all
// problems at once, each with its file, line, station and local time. It works
// nothing out: package fieldday does that, and package survey below it.
//
// # Tables
//
// A table is CSV (RFC 4180). Its first line names the columns, in any order, with
// units in brackets: "latitude (deg),longitude (deg),ellipsoidal height (m)". Commas,
// semicolons or tabs part the columns; where it is not commas, a number may have a
// decimal comma. Units are those of package quantity. Names of stations are compared
// without regard to case, blanks, hyphens, underscores and points, so that "s 16" is
// "S16".
//
// # Times
//
// A time is local with a zone ("2021-04-30 09:10" and Files.Zone), in UTC by the head
// "time (UTC)", or carries its own offset ("2021-04-30T09:10+01:00"). An hour that
// the clock repeats in autumn, and one that it leaves out in spring, are asked about.
//
// # Grids
//
// Heights of the ground come as a table with the columns north, east and height, or
// latitude, longitude and height; or as the plain-text grid with a head of ncols,
// nrows, xllcorner, yllcorner, cellsize and NODATA_value (described by the Library of
// Congress, Sustainability of Digital Formats, "ESRI ArcInfo ASCII Grid"; from memory).
package fieldbook
