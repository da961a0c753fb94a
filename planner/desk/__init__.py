"""The desk: a local web page on which a river folder is drawn, sounded and planned."""
