"""One file a family of pictures: values in, a Plotly figure out."""
