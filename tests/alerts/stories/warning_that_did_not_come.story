# A warning that did not come needs no word to whoever sprayed on.
start hill coarse
1 min brisk
measured 9.8 11.0
1 min brisk
  11:02 driver: Get ready hill: wind 4 in 10 over 10 mph
    Finish the pass and be ready to stop.
    The wind passes 10 mph within ten minutes with a chance of 4 in 10.
    A gust over 15 mph comes with a chance of less than 1 in 10.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Preparese hill: pronto mucho viento. Termine la pasada y esté listo para parar. Decide la etiqueta.
clock 40
measured 5.0 6.0
30 min calm
not Stop|Pare hill
not All clear|Puede seguir
most 1 driver
most 1 mate
most 0 helper
