"""What do people take away: map, study file, ranking, report, workbook."""
