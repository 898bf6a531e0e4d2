"""What each stage of a design does with the tables of one site: plain values in and out."""
