"""The local forecast beside the ground: what a bulletin says, and which ground it names.

``bulletin`` holds what forecasters wrote, the published scale and a published method's angles,
``choose`` says which of a file's bulletins are for a region and a time and what is wrong with them,
``named`` which pieces of ground a rating or a problem names, ``beside`` holds what that comes to.
Nothing here opens a file, and nothing judges: words and numbers stay the forecasters' own.
"""
