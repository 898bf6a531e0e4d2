"""What each workbook shows of a design: its tables, sentences, named values and figures."""
