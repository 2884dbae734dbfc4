"""Files for other programs: workbook, CSV lists, GeoPackage."""
