"""Pure statistics on a DataFrame; knows no study, no file and no figure."""
