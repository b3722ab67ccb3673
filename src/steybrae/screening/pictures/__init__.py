"""What pictures of a screened line show, made ready: data, not drawing."""
