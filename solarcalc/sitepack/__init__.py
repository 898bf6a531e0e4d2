"""What a crew needs on the site, as rows: read off the installation, the array, the programme."""
